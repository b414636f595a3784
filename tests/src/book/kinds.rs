//! What the program knows of every kind of finding: its title, what it means, first checks, cautions.

use super::Parts;
use analysis::detect::{Kind, Protection};
use analysis::diagnose::{Subject, advice, caution, explain, protection_caution};
use analysis::reading::DeviceId;
use std::collections::BTreeMap;

/// The parts of every kind, and the cautions of all.
pub(super) fn known_parts() -> Parts {
    let parts = |kind: &Kind| {
        let named = |part: &str, text: String| (format!("{part} {}", kind.name()), text);
        [named("kind", about(*kind)), named("checks", checks(*kind))]
    };
    let mut all: Parts = Kind::ALL.iter().flat_map(parts).collect();
    let line = |line: String| format!("- {line}\n");
    let common = common_cautions().into_iter().map(line).collect();
    all.insert("cautions of all".to_owned(), common);
    all.insert("cautions of some".to_owned(), cautions_of_some());
    all
}

/// Each of the other cautions once, with the kinds that it goes with.
fn cautions_of_some() -> String {
    let mut kinds: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for kind in Kind::ALL {
        for line in own_cautions(*kind) {
            let name = format!("`{}`", kind.name());
            kinds.entry(line).or_default().push(name);
        }
    }
    for which in Protection::ALL {
        for line in protection_caution(which) {
            let name = Kind::ProtectionActed.name();
            let of = format!("`{name}` ({})", explain::protection_words(which));
            kinds.entry((*line).to_owned()).or_default().push(of);
        }
    }
    let line = |(line, kinds): (String, Vec<String>)| format!("- {}: {line}\n", kinds.join(", "));
    kinds.into_iter().map(line).collect()
}

/// Cautions that go with every kind that may send somebody to the wiring.
fn common_cautions() -> Vec<String> {
    let mut common = caution(Kind::StringOpen);
    let wired = Kind::ALL.iter().filter(|kind| **kind != Kind::Snow);
    for kind in wired {
        let lines = caution(*kind);
        common.retain(|line| lines.contains(line));
    }
    common
}

/// Cautions of a kind beside these.
fn own_cautions(kind: Kind) -> Vec<String> {
    let common = common_cautions();
    let lines = caution(kind).into_iter();
    lines.filter(|line| !common.contains(line)).collect()
}

fn about(kind: Kind) -> String {
    let severity = kind.severity();
    format!(
        "**{}.** {} *Urgency: {}, {}.*\n",
        kind.title(),
        kind.meaning(),
        severity.name(),
        severity.meaning()
    )
}

/// As told of an input or a device, whichever the kind is of, without its name.
fn checks(kind: Kind) -> String {
    const INPUT: &str = "input 1 of the inverter";
    let subject = match kind {
        Kind::LinkLost
        | Kind::ValueFrozen
        | Kind::ValueImpossible
        | Kind::ClockOff
        | Kind::SensorWrong => Subject::device(&DeviceId::new("the device")),
        kind if is_of_input(kind) => Subject::input(&DeviceId::new("the inverter"), 1),
        _ => Subject::device(&DeviceId::new("the inverter")),
    };
    let numbered = advice(kind, &subject)
        .iter()
        .map(|line| line.replace(INPUT, "the input"))
        .enumerate()
        .map(|(n, line)| format!("{}. {line}\n", n + 1))
        .collect::<String>();
    let mut text = format!("First checks:\n\n{numbered}");
    if !kind.tools().is_empty() {
        text += &format!("\nTake along: {}.\n", kind.tools().join("; "));
    }
    let own = own_cautions(kind);
    let common = "[What holds for all work on the wiring](../safety.md#all-work-on-the-wiring).";
    let all = match (kind == Kind::Snow, own.is_empty()) {
        (true, _) => own.join(" "),
        (false, true) => common.to_owned(),
        (false, false) => format!("{} {common}", own.join(" ")),
    };
    text + &format!("\n> **Caution.** {all}\n")
}

fn is_of_input(kind: Kind) -> bool {
    matches!(
        kind,
        Kind::InputDead
            | Kind::StringOpen
            | Kind::SectionLost
            | Kind::ResistanceHigh
            | Kind::CurrentLow
            | Kind::Shade
            | Kind::TrackerOffPeak
            | Kind::StringCountDiffers
    )
}
