//! What the currents of single strings show, in words. Never in here: decisions.

use super::{causes, evidence};
use crate::detect::{Kind, StringFault, StringWindow};
use crate::diagnose::{NewFinding, Subject};
use crate::reading::{Energy, Time};

/// The kind of finding that says this.
pub fn string_kind(fault: StringFault) -> Kind {
    match fault {
        StringFault::Nothing => Kind::StringOpen,
        StringFault::Part => Kind::CurrentLow,
        StringFault::Frozen => Kind::ValueFrozen,
    }
}

/// A string that carries nothing, a part, or always the same beside its siblings. `ac_over_dc`: what of
/// its missing DC energy would have been fed in [-].
pub fn string_beside_siblings(
    subject: Subject,
    found: Time,
    fault: StringFault,
    seen: &StringWindow,
    ac_over_dc: f64,
) -> NewFinding {
    let place = place(&subject);
    let percent = 100.0 * seen.share;
    let (confidence, ranked, summary) = match fault {
        StringFault::Nothing => (
            0.95,
            causes(&[
                ("string open: isolator, fuse, connector or cable", 0.8),
                ("measurement of the string's current off", 0.12),
                (
                    "some of its modules covered or in hard shade, so that its siblings outdo it",
                    0.08,
                ),
            ]),
            format!("{place} carries no current although its siblings do."),
        ),
        StringFault::Part => (
            0.9,
            causes(&[
                (
                    "part of what is in parallel behind this measurement open",
                    0.55,
                ),
                ("measurement of the string's current off", 0.35),
                ("shade or dirt that takes the same part in any light", 0.1),
            ]),
            format!("{place} carries {percent:.0} % of what its siblings carry, in any light."),
        ),
        StringFault::Frozen => (
            0.95,
            causes(&[
                ("the logger repeats an old value", 0.7),
                ("current above the range of its sensor", 0.3),
            ]),
            format!(
                "{place} has shown {:.2} A without any change while the current of its siblings moved.",
                seen.last_a
            ),
        ),
    };
    // What a frozen number hides is not known.
    let lost_wh = if fault == StringFault::Frozen {
        0.0
    } else {
        ac_over_dc * seen.missing_wh
    };
    NewFinding {
        subject,
        kind: string_kind(fault),
        began: seen.began,
        found,
        confidence,
        causes: ranked,
        evidence: evidence(&[
            ("current_a", seen.last_a),
            ("share_of_siblings_ratio", seen.share),
            ("share_least_ratio", seen.least),
            ("share_largest_ratio", seen.largest),
            ("siblings_least_load_ratio", seen.light.0),
            ("siblings_largest_load_ratio", seen.light.1),
            ("siblings_count", seen.siblings as f64),
            ("slots_count", seen.slots as f64),
        ]),
        lost: Energy::from_wh(lost_wh),
        summary,
    }
}

fn place(subject: &Subject) -> String {
    let of = match subject.input {
        Some(n) => format!("input {n} of {}", subject.device),
        None => subject.device.to_string(),
    };
    match &subject.string {
        Some(label) => format!("String {label} on {of}"),
        None => of,
    }
}
