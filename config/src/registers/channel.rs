//! Channel addresses within one device. Never in here: a device's name.

use crate::problem::{Fault, Problems};
use crate::table::{Found, near};
use analysis::reading::{Channel, ChannelError, Place, Quantity};
use std::collections::BTreeSet;

/// Stands for the device, which the map does not know.
const ANY: &str = "device";

pub(crate) fn within_device(place: Place, quantity: Quantity) -> String {
    let quantity = quantity.name();
    match place {
        Place::Device => quantity.to_owned(),
        Place::Input(n) => format!("input-{n}/{quantity}"),
        Place::String(n, k) => format!("input-{n}/string-{k}/{quantity}"),
    }
}

pub(crate) fn read(
    found: &Found<String>,
    path: String,
    problems: &mut Problems<'_>,
) -> Option<(Place, Quantity)> {
    let error = match format!("{ANY}/{}", found.value).parse::<Channel>() {
        Ok(channel) => return Some((channel.place, channel.quantity)),
        Err(error) => error,
    };
    let text = format!("text {:?}", found.value);
    let (fault, wanted) = match error {
        ChannelError::Quantity { found } => {
            let names = Quantity::ALL.iter().map(|quantity| quantity.name());
            let wanted = format!("a quantity at the end: {}", near(&found, names));
            (Fault::UnknownName, wanted)
        }
        ChannelError::Scope { quantity, .. } => {
            let wanted = format!("{quantity} where it is measured: {}", places(quantity));
            (Fault::Contradiction, wanted)
        }
        ChannelError::Shape { .. } => {
            let wanted = "<quantity>, input-<n>/<quantity> or input-<n>/string-<k>/<quantity>, \
                          without the device";
            (Fault::WrongType, wanted.to_owned())
        }
    };
    problems.add(fault, &found.span, path, text, wanted);
    None
}

/// Reports a channel that comes again. Only event bits may come from several places.
pub(crate) fn once_each<'f>(
    channels: impl Iterator<Item = (String, &'f Found<String>, (Place, Quantity))>,
    problems: &mut Problems<'_>,
) {
    let mut seen: BTreeSet<(Place, Quantity)> = BTreeSet::new();
    for (path, found, channel) in channels {
        if !seen.insert(channel) && channel.1 != Quantity::EventBits {
            let (text, wanted) = (format!("text {:?} again", found.value), "each channel once");
            problems.add(Fault::Duplicate, &found.span, path, text, wanted);
        }
    }
}

fn places(quantity: &str) -> &'static str {
    match Quantity::from_name(quantity).map(Quantity::scope) {
        Some(analysis::reading::Scope::Input { string: true }) => {
            "input-<n> or input-<n>/string-<k>"
        }
        Some(analysis::reading::Scope::Input { string: false }) => "input-<n>",
        Some(analysis::reading::Scope::Inverter | analysis::reading::Scope::Weather) | None => {
            "the device as a whole"
        }
    }
}
