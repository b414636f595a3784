//! From values to the registers of a model: the way back, for the demonstration and the tests.
//!
//! The same table as for decoding, so that a value goes there and back. Images are only ever served
//! by our own register server; nothing in here can send anything. Never in here: input or output.

use super::alarms::alarms;
use super::decode::{Spot, exponent, times_ten_to};
use super::encoding::text_registers;
use super::table::{HEADER, Layout, MAX_BLOCKS, Point, ReadAs, layout};
use super::{END_OF_MODELS, MARKER};
use analysis::reading::{Quantity, Scope};
use std::collections::BTreeMap;
use thiserror::Error;

/// Exponents of ten that an image starts with, by the name of their point: what the values of a
/// plant under 30 kW fit into with the finest step (common practice).
const SCALES: [(&str, i32); 12] = [
    ("A_SF", -2),
    ("V_SF", -1),
    ("W_SF", 0),
    ("Hz_SF", -2),
    ("VAr_SF", 0),
    ("WH_SF", 0),
    ("DCA_SF", -2),
    ("DCV_SF", -1),
    ("DCW_SF", 0),
    ("Tmp_SF", -1),
    ("Ris_SF", 2),
    ("WMaxLimPct_SF", -1),
];

/// Why a value cannot be put into a model.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum EncodeError {
    /// The table does not have the model.
    #[error("model {model} is not in the table")]
    UnknownModel {
        /// Its id.
        model: u16,
    },
    /// A decoder would not read so many blocks.
    #[error("model {model} with {blocks} blocks, wanted at most {MAX_BLOCKS}")]
    TooManyBlocks {
        /// Its id.
        model: u16,
        /// How many.
        blocks: usize,
    },
    /// The model has no such point, or not so many blocks.
    #[error("model {model} has no {what} at {spot:?}")]
    NoPoint {
        /// Its id.
        model: u16,
        /// Name of the quantity or the point.
        what: String,
        /// Where it was to go.
        spot: Spot,
    },
    /// The value does not fit into the point.
    #[error("{value} does not fit into point {point} of model {model}")]
    DoesNotFit {
        /// Its id.
        model: u16,
        /// The point.
        point: String,
        /// The value in our unit, or the exponent.
        value: f64,
    },
    /// The text does not fit into the point.
    #[error("`{text}` does not fit into point {point} of model {model}")]
    TextTooLong {
        /// Its id.
        model: u16,
        /// The point.
        point: String,
        /// The text.
        text: String,
    },
}

/// The registers of one model, id and length first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ModelImage {
    model: u16,
    blocks: usize,
    registers: Vec<u16>,
}

impl ModelImage {
    /// A model in which nothing is implemented but the scales; `blocks` counts inputs or sensors.
    pub fn new(model: u16, blocks: usize) -> Result<Self, EncodeError> {
        let layout = layout(model).ok_or(EncodeError::UnknownModel { model })?;
        if blocks > MAX_BLOCKS {
            return Err(EncodeError::TooManyBlocks { model, blocks });
        }
        let mut registers = absent(&layout.fixed);
        for _ in 0..blocks {
            registers.extend(absent(&layout.block));
        }
        registers[0] = model;
        registers[1] = (registers.len() - HEADER) as u16;
        let mut image = Self {
            model,
            blocks,
            registers,
        };
        for (name, exponent) in SCALES {
            if layout.fixed_point(name).is_some() {
                image.scale(name, exponent)?;
            }
        }
        if let Some(count) = Layout::read_as(&layout.fixed, ReadAs::Blocks) {
            image.number(&count.name, blocks as f64)?;
        }
        Ok(image)
    }

    /// Sets an exponent of ten. Values that were put in before are not changed with it.
    pub fn scale(&mut self, name: &str, exponent: i32) -> Result<(), EncodeError> {
        self.number(name, f64::from(exponent))
    }

    /// Puts a value where its quantity belongs. Sensors of a weather model go into the first block.
    pub fn put(&mut self, spot: Spot, quantity: Quantity, value: f64) -> Result<(), EncodeError> {
        let Some((start, point)) = self.find(spot, quantity) else {
            return Err(EncodeError::NoPoint {
                model: self.model,
                what: quantity.name().to_owned(),
                spot,
            });
        };
        if point.read_as == ReadAs::Limit {
            self.number("WMaxLim_Ena", 1.0)?;
        }
        self.store(start, point, raw(&self.registers, point, value), value)
    }

    /// Puts a raw number into a point of the fixed part.
    pub fn number(&mut self, name: &str, number: f64) -> Result<(), EncodeError> {
        let point = self.fixed_point(name)?;
        self.store(0, point, Some(number), number)
    }

    /// Puts a text into a point of the fixed part.
    pub fn text(&mut self, name: &str, text: &str) -> Result<(), EncodeError> {
        let point = self.fixed_point(name)?;
        let Some(registers) = text_registers(text, point.size) else {
            return Err(EncodeError::TextTooLong {
                model: self.model,
                point: name.to_owned(),
                text: text.to_owned(),
            });
        };
        self.registers[point.offset..point.offset + point.size].copy_from_slice(&registers);
        Ok(())
    }

    /// The registers, id and length first.
    pub fn registers(&self) -> &[u16] {
        &self.registers
    }

    /// Where the part with the quantity starts, and its point.
    fn find(&self, spot: Spot, quantity: Quantity) -> Option<(usize, &'static Point)> {
        let layout = self.layout();
        let of_inputs = matches!(quantity.scope(), Scope::Input { .. });
        if of_inputs == (spot == Spot::Device) {
            return None;
        }
        let holds = |p: &&Point| p.quantity == Some(quantity);
        let fixed = || layout.fixed.iter().find(holds).map(|p| (0, p));
        let block = |n| Some((self.block_start(n)?, layout.block.iter().find(holds)?));
        match spot {
            Spot::Input(n) => block(n),
            Spot::AllInputs => fixed(),
            Spot::Device => fixed().or_else(|| block(1)),
        }
    }

    fn store(
        &mut self,
        start: usize,
        point: &Point,
        raw: Option<f64>,
        value: f64,
    ) -> Result<(), EncodeError> {
        let Some(registers) = raw.and_then(|raw| point.encoding.registers(raw)) else {
            return Err(EncodeError::DoesNotFit {
                model: self.model,
                point: point.name.clone(),
                value,
            });
        };
        let first = start + point.offset;
        self.registers[first..first + point.size].copy_from_slice(&registers);
        Ok(())
    }

    fn fixed_point(&self, name: &str) -> Result<&'static Point, EncodeError> {
        self.layout().fixed_point(name).ok_or(EncodeError::NoPoint {
            model: self.model,
            what: name.to_owned(),
            spot: Spot::Device,
        })
    }

    fn block_start(&self, number: u8) -> Option<usize> {
        let number = usize::from(number);
        let layout = self.layout();
        (1..=self.blocks)
            .contains(&number)
            .then(|| layout.fixed_size() + (number - 1) * layout.block_size())
    }

    fn layout(&self) -> &'static Layout {
        layout(self.model).expect("checked by new")
    }
}

/// Registers of a whole device: the marker at `base`, the models one behind the other, the end.
pub fn lay_out(base: u16, models: &[ModelImage]) -> BTreeMap<u16, u16> {
    let mut registers = MARKER.to_vec();
    for model in models {
        registers.extend_from_slice(model.registers());
    }
    registers.extend([END_OF_MODELS, 0]);
    // What would stand behind address 65535 cannot be asked for.
    (base..=u16::MAX).zip(registers).collect()
}

fn absent(points: &[Point]) -> Vec<u16> {
    let absent = |point: &Point| point.encoding.absent_registers(point.size);
    points.iter().flat_map(absent).collect()
}

/// The number that stands in the point for a value in our unit.
fn raw(image: &[u16], point: &Point, value: f64) -> Option<f64> {
    let exponent = exponent(image, point)?;
    let unscaled = match point.read_as {
        ReadAs::State => value,
        ReadAs::StateFromZero => value - 1.0,
        ReadAs::InputAlarms => alarms(value),
        ReadAs::Number | ReadAs::Limit | ReadAs::Blocks | ReadAs::KindOfPort => {
            times_ten_to(value, -(exponent + point.shift))
        }
    };
    Some(if point.encoding.is_whole() {
        unscaled.round()
    } else {
        unscaled
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_has_no_place_or_does_not_fit_is_an_error() {
        let unknown = ModelImage::new(64_001, 0);
        assert_eq!(unknown, Err(EncodeError::UnknownModel { model: 64_001 }));
        assert!(matches!(
            ModelImage::new(160, 65),
            Err(EncodeError::TooManyBlocks { blocks: 65, .. })
        ));
        let mut inputs = ModelImage::new(160, 2).expect("known");
        for spot in [
            Spot::Input(0),
            Spot::Input(3),
            Spot::AllInputs,
            Spot::Device,
        ] {
            let error = inputs.put(spot, Quantity::DcVoltage, 600.0);
            assert!(
                matches!(error, Err(EncodeError::NoPoint { .. })),
                "{spot:?}"
            );
        }
        let spot = Spot::Input(2);
        // 65535 x 0.1 V is the pattern for "not implemented".
        for volts in [6553.5, 7000.0, -0.1, f64::NAN, f64::INFINITY] {
            let error = inputs.put(spot, Quantity::DcVoltage, volts);
            assert!(
                matches!(error, Err(EncodeError::DoesNotFit { .. })),
                "{volts}"
            );
        }
        inputs.put(spot, Quantity::DcVoltage, 6553.4).expect("fits");
    }

    #[test]
    fn a_device_begins_with_its_marker_and_ends_with_the_end() {
        let met = ModelImage::new(307, 0).expect("known");
        let image = lay_out(0, &[met]);
        assert_eq!((image[&0], image[&1]), (MARKER[0], MARKER[1]));
        assert_eq!((image[&2], image[&3]), (307, 11));
        assert_eq!(image[&(2 + 13)], END_OF_MODELS);
        let image = lay_out(65_530, &[ModelImage::new(1, 0).expect("known")]);
        assert_eq!(image.len(), 6);
    }
}
