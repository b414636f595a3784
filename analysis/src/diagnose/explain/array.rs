//! Losses of current and of voltage that stand for days, in words and numbers.
//! Never in here: decisions.

use super::{causes, count, evidence, place};
use crate::detect::{Beside, Deficit, Kind, Severity, VoltageSums};
use crate::diagnose::measured::measured;
use crate::diagnose::voltage_loss::VoltageLoss;
use crate::diagnose::{Cause, Evidence, NewFinding, Subject, Urgency};
use crate::reading::{Energy, Time};

/// Heat in one joint from which it is a fire hazard [W] (engineering judgement).
const HOT_W: f64 = 50.0;
/// Probability from which a cause is shown.
const SHOWN: f64 = 0.005;

/// Less current than it should, for days.
pub fn current_low(
    subject: Subject,
    (began, found): (Time, Time),
    seen: &Deficit,
    lost: Energy,
) -> NewFinding {
    let loss = missing_ratio(seen.shift.size);
    NewFinding {
        summary: format!(
            "{} carries {:.1} % less current than {}, for {}.",
            place(&subject),
            100.0 * loss,
            beside_words(seen.beside),
            count(seen.shift.days as usize, "day")
        ),
        subject,
        kind: Kind::CurrentLow,
        began,
        found,
        confidence: measured(Kind::CurrentLow),
        causes: causes(&[
            ("dirt, growth or shade on part of the string", 0.5),
            ("damaged or mismatched modules", 0.3),
            ("measurement of the inverter off", 0.2),
        ]),
        evidence: evidence(&[
            ("loss_ratio", loss),
            ("loss_sigma_ratio", seen.shift.sigma),
            ("days_count", f64::from(seen.shift.days)),
        ]),
        lost,
    }
}

/// Less voltage than it should, for days: what takes it decides the kind.
pub fn voltage_low(
    subject: Subject,
    (began, found): (Time, Time),
    (sums, days): (&VoltageSums, usize),
    ranked: &[(VoltageLoss, f64)],
    lost: Energy,
) -> NewFinding {
    let resistance = ranked.iter().find_map(|(loss, p)| match loss {
        VoltageLoss::Resistance(ohm) => Some((*ohm, *p)),
        _ => None,
    });
    let sections = ranked.iter().find_map(|(loss, p)| match loss {
        VoltageLoss::Sections(k) => Some((*k, *p)),
        _ => None,
    });
    let (ohm, by_resistance) = resistance.unwrap_or((0.0, 0.0));
    let (k, _) = sections.unwrap_or((1, 0.0));
    let by_sections: f64 = probability(ranked, |loss| matches!(loss, VoltageLoss::Sections(_)));
    let ratio = sums.loss_ratio();
    let mean_a = (sums.ii / sums.n).sqrt();
    let place = place(&subject);
    let mut numbers = evidence(&[
        ("voltage_loss_ratio", ratio),
        ("days_count", days as f64),
        ("slots_count", sums.n),
    ]);
    let is_resistance = by_resistance > by_sections;
    let (kind, summary) = if is_resistance {
        let heat_w = ohm * mean_a * mean_a;
        numbers.insert("resistance_ohm".to_owned(), ohm);
        numbers.insert("heat_w".to_owned(), heat_w);
        let hot = if is_hot(&numbers) {
            " In one joint that is enough to set fire to it."
        } else {
            ""
        };
        (
            Kind::ResistanceHigh,
            format!(
                "{place} loses voltage in proportion to its current, as by {ohm:.1} Ω in series: \
                 {heat_w:.0} W of heat.{hot}"
            ),
        )
    } else {
        numbers.insert("sections_count".to_owned(), f64::from(k));
        let sections = if k == 1 { "section" } else { "sections" };
        (
            Kind::SectionLost,
            format!(
                "{place} is short of {:.1} % of its voltage at every current, as by {k} bypass \
                 {sections} of one string.",
                100.0 * ratio
            ),
        )
    };
    let shown = ranked.iter().filter(|(_, p)| *p >= SHOWN);
    NewFinding {
        subject,
        kind,
        began,
        found,
        confidence: by_resistance.max(by_sections),
        causes: shown
            .map(|(loss, p)| Cause {
                cause: loss_words(*loss),
                probability: *p,
            })
            .collect(),
        evidence: numbers,
        lost,
        summary,
    }
}

/// The urgency of a resistance that may set fire to a joint.
pub fn hot_joint(numbers: &Evidence) -> Option<Urgency> {
    is_hot(numbers).then(|| Urgency {
        severity: Severity::Now,
        advice: vec![
            "Shut the inverter down and keep it off until a licensed person has found the joint: without \
             current it stays cold."
                .to_owned(),
        ],
        caution: Vec::new(),
    })
}

fn is_hot(numbers: &Evidence) -> bool {
    numbers.get("heat_w").is_some_and(|heat_w| *heat_w >= HOT_W)
}

fn probability(ranked: &[(VoltageLoss, f64)], is: impl Fn(&VoltageLoss) -> bool) -> f64 {
    ranked
        .iter()
        .filter(|(loss, _)| is(loss))
        .map(|(_, p)| p)
        .sum()
}

/// From a difference of logarithms to the share that is missing.
fn missing_ratio(ln: f64) -> f64 {
    -(-ln).exp_m1()
}

fn beside_words(beside: Beside) -> &'static str {
    match beside {
        Beside::LastMonth => "before",
        Beside::Handover => "at the handover",
        Beside::Datasheet => "its datasheet and its neighbours say",
    }
}

fn loss_words(loss: VoltageLoss) -> String {
    match loss {
        VoltageLoss::Sections(1) => {
            "one bypass section lost: its diode shorted, or its cells".to_owned()
        }
        VoltageLoss::Sections(k) => format!("{k} bypass sections lost"),
        VoltageLoss::Resistance(_) => "a joint, connector or cable with resistance".to_owned(),
        VoltageLoss::Else => "warm cells, shade on a section, or a meter that is off".to_owned(),
    }
}
