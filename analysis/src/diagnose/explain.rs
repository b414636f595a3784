//! From what was seen to a finding in words and numbers.
//!
//! Evidence names end in their unit. Summaries name the place, what is wrong, and the number that
//! says so; times are left to whoever shows them, in the reader's zone.
//! Where hypotheses were compared, the causes carry their probabilities. All other shares of causes are
//! engineering judgement, as is the confidence beside them: they say what to look at first and nothing
//! more.
//! Never in here: decisions.

mod array;
mod earth;
mod inverter;
mod light;
mod measuring;
mod strings;
mod trip;
mod wiring;

pub use array::{current_low, hot_joint, voltage_low};
pub use earth::{
    Leak, LeakPlace, forget_place, isolation_falling, isolation_low, isolation_near, late_start,
    residual_current_high,
};
pub use strings::{string_beside_siblings, string_kind};

pub use inverter::{
    acted_evidence, efficiency_low, limited, protection_acted, protection_words, tracker_off_peak,
};
pub use measuring::{
    Still, back_sensor_wrong, clock_off, sensor_dark, sensor_wrong, value_frozen, value_impossible,
};
pub(super) use trip::{NEUTRAL_LOST, trip_words};
pub use trip::{grid_trip, reconnection};
pub use wiring::wiring;

pub use light::{degradation, shade, soiling};

use super::hypotheses::Hypothesis;
use super::{Cause, Evidence, NewFinding, Subject};
use crate::detect::{Kind, Sample, Standstill};
use crate::diagnose::measured::measured;
use crate::reading::{DeviceId, Energy, Time};

/// A device that does not answer.
pub fn link_lost(device: &DeviceId, began: Time, found: Time) -> NewFinding {
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::LinkLost,
        began,
        found,
        confidence: 1.0,
        causes: causes(&[
            ("device without power or network link lost", 0.7),
            ("device stopped answering", 0.3),
        ]),
        evidence: evidence(&[("silent_s", (found - began).seconds())]),
        lost: Energy::from_wh(0.0),
        summary: format!("{device} does not answer; what it measures is not known."),
    }
}

/// An inverter without output in good light: covered modules, or off. `has_start_voltage`: whether
/// an input has the voltage to start with, where that is measured.
pub fn standstill(
    device: &DeviceId,
    found: Time,
    still: &Standstill,
    frost: bool,
    has_start_voltage: Option<bool>,
) -> NewFinding {
    const OFF: &str = "switched off or stopped by a fault of its own";
    const NO_AC: &str = "AC isolator or breaker open";
    const NO_DC: &str = "all DC inputs disconnected";
    let (kind, what, ranked) = if frost {
        (
            Kind::Snow,
            "carries nothing on a frosty day: its modules are covered",
            causes(&[
                ("modules covered by snow or frost", 0.9),
                ("inverter off", 0.1),
            ]),
        )
    } else {
        (
            Kind::InverterOff,
            "does not produce although there is light",
            match has_start_voltage {
                Some(true) => causes(&[(OFF, 0.7), (NO_AC, 0.3)]),
                // Some show no DC voltage while they are off.
                Some(false) => causes(&[(NO_DC, 0.7), (OFF, 0.2), (NO_AC, 0.1)]),
                None => causes(&[(OFF, 0.6), (NO_AC, 0.25), (NO_DC, 0.15)]),
            },
        )
    };
    NewFinding {
        subject: Subject::device(device),
        kind,
        began: still.began,
        found,
        confidence: measured(kind),
        causes: ranked,
        evidence: evidence(&[("lit_without_output_s", still.light.seconds())]),
        lost: Energy::from_wh(still.missing_wh),
        summary: format!("{device} {what}."),
    }
}

/// A window of samples of one input, judged: dead, strings open, or covered.
pub fn input_window(
    subject: Subject,
    strings: u8,
    found: Time,
    samples: &[Sample],
    ranked: &[(Hypothesis, f64)],
) -> Option<NewFinding> {
    let (what, confidence) = *ranked.first()?;
    let place = place(&subject);
    let mean = |of: fn(&Sample) -> f64| samples.iter().map(of).sum::<f64>() / samples.len() as f64;
    let ratio = mean(|s| s.ratio);
    let (kind, summary) = match what {
        Hypothesis::Dead => (
            Kind::InputDead,
            format!("{place} carries no current although there is light."),
        ),
        Hypothesis::StringsOpen(k) => (
            Kind::StringOpen,
            format!(
                "{place}: {k} of {strings} strings without current; current at {:.0} % of what the \
                 light gives, voltage as expected.",
                100.0 * ratio
            ),
        ),
        Hypothesis::Covered => (
            Kind::Snow,
            format!(
                "{place} is covered after frost or snow: current at {:.0} %.",
                100.0 * ratio
            ),
        ),
        Hypothesis::Healthy | Hypothesis::Other | Hypothesis::Shaded => return None,
    };
    let numbers = evidence(&[
        ("current_ratio", ratio),
        ("current_own_sigma_ratio", mean(|s| s.own)),
        ("current_common_sigma_ratio", mean(|s| s.common)),
        ("voltage_ratio", mean(|s| s.voltage_ratio)),
        ("voltage_sigma_ratio", mean(|s| s.voltage_sigma)),
        ("samples_count", samples.len() as f64),
    ]);
    Some(NewFinding {
        subject,
        kind,
        began: samples.first()?.start,
        found,
        confidence,
        causes: ranked
            .iter()
            .filter(|(h, p)| *p >= 0.005 && *h != Hypothesis::Healthy)
            .map(|(h, p)| Cause {
                cause: hypothesis_words(*h),
                probability: *p,
            })
            .collect(),
        evidence: numbers,
        lost: Energy::from_wh(samples.iter().map(|s| s.missing_wh).sum()),
        summary,
    })
}

/// `1 day`, `3 days`
pub fn count(n: usize, one: &str) -> String {
    let s = if n == 1 { "" } else { "s" };
    format!("{n} {one}{s}")
}

pub(super) fn place(subject: &Subject) -> String {
    match subject.input {
        Some(n) => format!("Input {n} of {}", subject.device),
        None => subject.device.to_string(),
    }
}

fn hypothesis_words(hypothesis: Hypothesis) -> String {
    match hypothesis {
        Hypothesis::Healthy => "as expected".to_owned(),
        Hypothesis::StringsOpen(1) => "one string open".to_owned(),
        Hypothesis::StringsOpen(k) => format!("{k} strings open"),
        Hypothesis::Dead => "input disconnected".to_owned(),
        Hypothesis::Covered => "covered by snow or frost".to_owned(),
        Hypothesis::Shaded => "shade that comes with the sun there".to_owned(),
        Hypothesis::Other => "shade or something else".to_owned(),
    }
}

pub(super) fn causes(ranked: &[(&str, f64)]) -> Vec<Cause> {
    let cause = |(cause, p): &(&str, f64)| Cause {
        cause: (*cause).to_owned(),
        probability: *p,
    };
    ranked.iter().map(cause).collect()
}

pub(super) fn evidence(numbers: &[(&str, f64)]) -> Evidence {
    numbers
        .iter()
        .map(|(name, value)| ((*name).to_owned(), *value))
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_not_many() {
        let days = |n| count(n, "tested day");
        assert_eq!(
            [days(0), days(1), days(2)],
            ["0 tested days", "1 tested day", "2 tested days"]
        );
    }
}
