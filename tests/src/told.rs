//! Something for people and programs to be told of.

use analysis::detect::{Kind, Slot};
use analysis::diagnose::{Cause, Evidence, Finding, FindingId, Subject};
use analysis::plant::Plant;
use analysis::reading::{DeviceId, Energy, Span, Time};

/// 2026-06-22 at noon UTC.
pub const NOON: Time = Time::from_unix_ms(1_782_129_600_000);

/// A string of the shed that carries nothing, on an input, since noon.
pub fn string_open(input: u8, ended: Option<Time>) -> Finding {
    let subject = Subject::input(&DeviceId::new("shed"), input);
    Finding {
        id: FindingId::new(&subject, Kind::StringOpen, NOON),
        subject,
        kind: Kind::StringOpen,
        severity: Kind::StringOpen.severity(),
        began: NOON,
        found: NOON + Span::from_min(30),
        ended,
        confidence: 0.97,
        causes: vec![Cause {
            cause: "one string open".to_owned(),
            probability: 0.97,
        }],
        evidence: Evidence::from([("current_ratio".to_owned(), 0.5)]),
        lost: Energy::from_wh(3_200.0),
        summary: format!("Input {input} of shed: 1 of 2 strings without current"),
        advice: vec!["Compare the currents of the strings.".to_owned()],
        caution: vec!["PV strings are live whenever there is light.".to_owned()],
    }
}

/// A slot of a plant in which nothing was measured.
pub fn dark_slot(plant: &Plant, start: Time) -> Slot {
    let inputs = plant.inverters.iter().map(|inverter| inverter.inputs.len());
    Slot::not_measured(start, plant.timing.slot, plant.planes.len(), inputs)
}
