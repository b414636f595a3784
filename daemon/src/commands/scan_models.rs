//! The list of models of a scanned device. Never in here: reading it (`source::sunspec`).

use crate::source::sunspec::{Device, Model, WalkEnd, name};
use std::io::{self, Write};

pub(super) fn print_models(device: &Device, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "models")?;
    let skipped = device.skipped();
    for model in &device.models {
        let Model {
            id,
            address,
            length,
        } = model;
        let note = match (skipped.contains(model), says_again(model, device)) {
            (true, true) => " (not read: a repetition)",
            (true, false) => " (not read)",
            (false, _) => "",
        };
        let name = name(*id);
        writeln!(
            out,
            "  {id:>5}  at {address:>5}  length {length:>4}  {name}{note}"
        )?;
    }
    match device.end {
        WalkEnd::Marker => Ok(()),
        other => writeln!(
            out,
            "  the list ends without its end marker: {}",
            ending(other)
        ),
    }
}

/// Whether another model that is read says the same.
fn says_again(model: &Model, device: &Device) -> bool {
    let read = [device.used(), device.settings()].concat();
    let is_same = |other: &Model| other.id == model.id || other.has_inputs() && model.has_inputs();
    read.iter().any(is_same)
}

fn ending(end: WalkEnd) -> String {
    match end {
        WalkEnd::Marker => "end marker".to_owned(),
        WalkEnd::Refused { address } => format!("the device refuses to read at {address}"),
        WalkEnd::NoHeader { address } => format!("what stands at {address} is no model"),
        WalkEnd::PastTheEnd { address } => format!("the model at {address} has no end"),
        WalkEnd::TooMany => "there are more models than a device can have".to_owned(),
    }
}
