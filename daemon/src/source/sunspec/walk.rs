//! The walk along a device's models, one header at a time.
//! Never in here: input or output; the caller reads and feeds the headers.

use super::{END_OF_MODELS, table};

/// Most models on one device; a list without end is not one (common practice).
const MAX_MODELS: usize = 100;

/// A model as a device lists it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Model {
    /// Number of the model in the standard.
    pub id: u16,
    /// Address of its id register, counted from 0.
    pub address: u16,
    /// Registers behind id and length, as the device says; never assumed.
    pub length: u16,
}

impl Model {
    /// Whether it has blocks of single inputs.
    pub fn has_inputs(&self) -> bool {
        table::has_inputs(self.id, self.length)
    }
}

/// Why a walk ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WalkEnd {
    /// The end marker was there.
    Marker,
    /// The device refused to read on at this address.
    Refused {
        /// The address.
        address: u16,
    },
    /// What stands here is no header.
    NoHeader {
        /// The address.
        address: u16,
    },
    /// A model would reach past the last address.
    PastTheEnd {
        /// The model's address.
        address: u16,
    },
    /// There were too many models.
    TooMany,
}

/// What to do next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Next {
    /// Read id and length here.
    Read(u16),
    /// Nothing more.
    End(WalkEnd),
}

/// A walk under way.
#[derive(Debug)]
pub struct Walk {
    next: u16,
    models: Vec<Model>,
}

impl Walk {
    /// Begins at the first model, two registers behind the marker.
    pub fn new(base: u16) -> Self {
        Self {
            next: base.saturating_add(2),
            models: Vec::new(),
        }
    }

    /// Where the first header stands.
    pub fn first(&self) -> Next {
        Next::Read(self.next)
    }

    /// Takes what stands at the address last asked for: id and, unless it was the end, length.
    pub fn header(&mut self, id: u16, length: Option<u16>) -> Next {
        let address = self.next;
        if id == END_OF_MODELS {
            return Next::End(WalkEnd::Marker);
        }
        // Memory that was never filled reads as zeros.
        let (1.., Some(length)) = (id, length) else {
            return Next::End(WalkEnd::NoHeader { address });
        };
        if self.models.len() == MAX_MODELS {
            return Next::End(WalkEnd::TooMany);
        }
        let next = u32::from(address) + 2 + u32::from(length);
        let Ok(next) = u16::try_from(next) else {
            return Next::End(WalkEnd::PastTheEnd { address });
        };
        self.models.push(Model {
            id,
            address,
            length,
        });
        self.next = next;
        Next::Read(next)
    }

    /// The device refused to read there.
    pub fn refused(&self) -> WalkEnd {
        WalkEnd::Refused { address: self.next }
    }

    /// What was found.
    pub fn into_models(self) -> Vec<Model> {
        self.models
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn the_devices_own_length_leads_to_the_next_model() {
        let mut walk = Walk::new(40_000);
        assert_eq!(walk.first(), Next::Read(40_002));
        assert_eq!(walk.header(1, Some(65)), Next::Read(40_069));
        assert_eq!(walk.header(64_001, Some(7)), Next::Read(40_078));
        assert_eq!(walk.header(END_OF_MODELS, None), Next::End(WalkEnd::Marker));
        let found: Vec<_> = walk.into_models().iter().map(|m| m.address).collect();
        assert_eq!(found, [40_002, 40_069]);
    }

    #[test]
    fn zeros_are_no_models() {
        let mut walk = Walk::new(0);
        let end = WalkEnd::NoHeader { address: 2 };
        assert_eq!(walk.header(0, Some(0)), Next::End(end));
    }

    #[test]
    fn a_model_past_the_last_address_ends_the_walk() {
        let mut walk = Walk::new(65_000);
        let end = WalkEnd::PastTheEnd { address: 65_002 };
        assert_eq!(walk.header(103, Some(600)), Next::End(end));
    }

    proptest! {
        /// Whatever a device lists, the walk ends and stays inside the addresses.
        #[test]
        fn every_walk_ends(
            base in any::<u16>(),
            headers in prop::collection::vec(
                (any::<u16>(), prop_oneof![Just(0u16), any::<u16>()]),
                200,
            ),
        ) {
            let mut walk = Walk::new(base);
            let mut steps = 0;
            for (id, length) in headers {
                steps += 1;
                if let Next::End(_) = walk.header(id, Some(length)) {
                    break;
                }
            }
            prop_assert!(steps <= MAX_MODELS + 1);
            for model in walk.into_models() {
                prop_assert!(u32::from(model.address) + 2 + u32::from(model.length) <= 65_535);
            }
        }
    }
}
