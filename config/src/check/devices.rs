//! The devices of a site as far as channel addresses are concerned: ids, inputs, strings.

use super::parts::Ids;
use super::{list, value};
use crate::problem::Problems;
use crate::raw;
use crate::table::Table;
use analysis::reading::{Channel, DeviceId, Place, Quantity, Scope};

/// An inverter or weather device.
#[derive(Debug)]
pub(super) struct Device {
    pub(super) id: DeviceId,
    kind: Kind,
}

#[derive(Debug)]
enum Kind {
    /// Numbers of its inputs, with how many strings each has.
    Inverter { inputs: Vec<(u8, u8)> },
    /// Whether it lies in a plane.
    Weather { in_plane: bool },
}

/// Every device with a name; names that are not their own are reported.
pub(super) fn devices(file: &raw::File, problems: &mut Problems<'_>) -> Vec<Device> {
    let mut ids = Ids::default();
    let mut devices = Vec::new();
    for raw in list(&file.inverter) {
        ids.add(&raw.id, raw.at(), devices.len(), problems);
        let inputs = list(&raw.input).iter().filter_map(numbers).collect();
        devices.extend(value(&raw.id).map(|id| Device {
            id: DeviceId::new(id.0.as_str()),
            kind: Kind::Inverter { inputs },
        }));
    }
    for raw in list(&file.weather) {
        ids.add(&raw.id, raw.at(), devices.len(), problems);
        let in_plane = raw.plane.is_some();
        devices.extend(value(&raw.id).map(|id| Device {
            id: DeviceId::new(id.0.as_str()),
            kind: Kind::Weather { in_plane },
        }));
    }
    devices
}

fn numbers(input: &raw::Input) -> Option<(u8, u8)> {
    let number = *value(&input.number)? as u8;
    Some((number, list(&input.string).len().min(255) as u8))
}

impl Device {
    /// Every channel that a source of this device can deliver.
    pub(super) fn channels(&self) -> Vec<Channel> {
        let mut channels = Vec::new();
        for &quantity in Quantity::ALL {
            for place in self.places(quantity) {
                channels.push(Channel {
                    device: self.id.clone(),
                    place,
                    quantity,
                });
            }
        }
        channels
    }

    fn places(&self, quantity: Quantity) -> Vec<Place> {
        match (&self.kind, quantity.scope()) {
            (Kind::Inverter { .. }, Scope::Inverter) => vec![Place::Device],
            (Kind::Inverter { inputs }, Scope::Input { string }) => {
                let of_input = |&(n, strings): &(u8, u8)| {
                    let strings = if string { strings } else { 0 };
                    let of_strings = (1..=strings).map(move |k| Place::String(n, k));
                    std::iter::once(Place::Input(n)).chain(of_strings)
                };
                inputs.iter().flat_map(of_input).collect()
            }
            (Kind::Weather { in_plane }, Scope::Weather) => {
                // A plane sensor means nothing without its plane.
                let known = quantity != Quantity::Poa || *in_plane;
                known.then_some(Place::Device).into_iter().collect()
            }
            (Kind::Inverter { .. }, Scope::Weather)
            | (Kind::Weather { .. }, Scope::Inverter | Scope::Input { .. }) => Vec::new(),
        }
    }

    /// Why a column of a recording cannot be this channel of this device, in what is wanted.
    pub(super) fn refuses(&self, channel: &Channel) -> Option<String> {
        let quantity = channel.quantity;
        if self.places(quantity).contains(&channel.place) {
            return None;
        }
        match (&self.kind, quantity.scope()) {
            // Sensors may be wired to an inverter; only a plane sensor has to say where it lies.
            (Kind::Inverter { .. }, Scope::Weather) if quantity != Quantity::Poa => None,
            (Kind::Inverter { .. }, Scope::Weather) => {
                Some("a [[weather]] device with a plane for a plane sensor".to_owned())
            }
            (Kind::Inverter { inputs }, _) => {
                let count = |(n, strings): &(u8, u8)| format!("input-{n} with {strings} string(s)");
                let inputs: Vec<_> = inputs.iter().map(count).collect();
                Some(format!(
                    "an input or string of {}: {}",
                    self.id,
                    inputs.join(", ")
                ))
            }
            (Kind::Weather { .. }, Scope::Weather) => Some(format!(
                "a plane in [[weather]] {} for its plane sensor",
                self.id
            )),
            (Kind::Weather { .. }, _) => Some(format!(
                "a weather quantity, since {} is a [[weather]] device",
                self.id
            )),
        }
    }
}
