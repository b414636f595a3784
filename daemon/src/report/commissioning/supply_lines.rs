//! What the first days say of an inverter as a whole: insulation, supply, capacity.
//! Never in here: inputs and strings.

use super::lines::{Line, Verdict, interval};
use crate::text;
use analysis::detect::Morning;
use analysis::expected::{Learned, LearnedOf, SupplyNumber};
use analysis::ledger::CapacityTest;
use analysis::plant::Plant;
use analysis::reading::SolarDay;
use chrono_tz::Tz;

/// Least insulation resistance of an array above 120 V (IEC 62446-1, from memory, verify) [ohm].
const LEAST_ISOLATION_OHM: f64 = 1e6;
/// Rise of the voltage by the own export up to which a supply is taken as designed (common practice)
/// [-].
const MOST_RISE_RATIO: f64 = 0.02;
/// Capacity over that of the datasheets: what sensors and datasheets may be off together, and what is
/// beyond doubt (judgement).
const GOOD_CAPACITY_RATIO: f64 = 0.95;
const BAD_CAPACITY_RATIO: f64 = 0.90;
/// Days of the capacity test (ASTM E2848 practice: up to thirty).
const TEST_DAYS: i64 = 30;

/// Insulation and supply of one inverter.
pub fn of_inverter(
    plant: &Plant,
    i: usize,
    mornings: &[Morning],
    learned: &[Learned],
    timezone: Tz,
) -> Vec<Line> {
    let mut lines = vec![isolation(plant, i, mornings, timezone)];
    for phase in 0..usize::from(plant.inverters[i].phases) {
        lines.push(supply(plant, i, phase, learned));
    }
    lines
}

/// The first dry morning, or else the first.
fn isolation(plant: &Plant, i: usize, mornings: &[Morning], timezone: Tz) -> Line {
    let limit = plant.inverters[i].isolation_limit.ohm();
    let with_number = || mornings.iter().filter(|m| m.log10_ohm.is_some());
    let first = with_number()
        .find(|m| m.is_wet == Some(false))
        .or_else(|| with_number().next());
    let ohm = first.and_then(|m| Some((m, 10f64.powf(f64::from(m.log10_ohm?)))));
    let (found, verdict) = match ohm {
        None => (
            "the inverter published no value at a start".to_owned(),
            Verdict::Look,
        ),
        Some((morning, ohm)) => {
            let verdict = match ohm {
                _ if ohm < limit => Verdict::Fail,
                _ if ohm < LEAST_ISOLATION_OHM => Verdict::Look,
                _ => Verdict::Pass,
            };
            let weather = match morning.is_wet {
                Some(true) => "a wet morning",
                Some(false) => "a dry morning",
                None => "a morning",
            };
            let at = text::local(morning.at, timezone);
            (
                format!("{:.0} kΩ on {weather}, {at}", ohm / 1000.0),
                verdict,
            )
        }
    };
    Line {
        what: "first insulation resistance of the array".to_owned(),
        found,
        wanted: format!(
            "above {:.0}\u{a0}kΩ, at least {}\u{a0}MΩ",
            limit / 1000.0,
            LEAST_ISOLATION_OHM / 1_000_000.0
        ),
        verdict,
        rule: "fail: under the inverter's own limit; look: under 1 MΩ (IEC 62446-1, verify), as \
               the inverter measures it"
            .to_owned(),
    }
}

fn supply(plant: &Plant, i: usize, phase: usize, learned: &[Learned]) -> Line {
    let inverter = &plant.inverters[i];
    let of = LearnedOf::Supply(i, phase, SupplyNumber::Resistance);
    let known = learned.iter().find(|l| l.of == of).map(|l| l.baseline);
    let nominal_v = plant.site.grid_limits.nominal_voltage.v();
    let rated_a = inverter.rated_ac.w() / (f64::from(inverter.phases) * nominal_v);
    let (found, verdict) = match known {
        None => ("not enough days with clouds yet".to_owned(), Verdict::Look),
        Some(known) => {
            let (low, high) = interval(&known);
            let rise = known.value * rated_a / nominal_v;
            let text = format!(
                "{:.3} Ω ({:.3} to {:.3}): {:.1} % rise at rated export",
                known.value,
                low.max(0.0),
                high,
                100.0 * rise
            );
            let is_good = high * rated_a / nominal_v <= MOST_RISE_RATIO;
            (
                text,
                if is_good {
                    Verdict::Pass
                } else {
                    Verdict::Look
                },
            )
        }
    };
    Line {
        what: format!("resistance of the supply, phase L{}", phase + 1),
        found,
        wanted: format!("at most {:.0} % rise", 100.0 * MOST_RISE_RATIO),
        verdict,
        rule:
            "upper end of the 95 % interval times rated current; local rules of connection decide"
                .to_owned(),
    }
}

/// The capacity by regression in the first thirty days.
pub fn capacity(plant: &Plant, i: usize, test: &CapacityTest) -> Line {
    let first = test.days(i).next();
    let (found, verdict) = match first {
        None => (
            "no slot of a steady, bright light that a sensor measured".to_owned(),
            Verdict::Look,
        ),
        Some(first) => {
            let last = SolarDay::from_number(first.number() + TEST_DAYS - 1);
            match test.capacity(plant, i, first..=last, None) {
                Err(why) => (format!("no result: could not {why}"), Verdict::Look),
                Ok(capacity) => {
                    let over = |watts: f64| watts / capacity.expected.w();
                    let (low, mid, high) = (
                        over(capacity.low.w()),
                        over(capacity.power.w()),
                        over(capacity.high.w()),
                    );
                    let verdict = match mid {
                        _ if high < BAD_CAPACITY_RATIO => Verdict::Fail,
                        _ if mid >= GOOD_CAPACITY_RATIO => Verdict::Pass,
                        _ => Verdict::Look,
                    };
                    let text = format!(
                        "{:.2} kW, {:.1} % ({:.1} to {:.1} %) at {:.0} W/m²",
                        capacity.power.w() / 1000.0,
                        100.0 * mid,
                        100.0 * low,
                        100.0 * high,
                        capacity.conditions.poa.w_m2()
                    );
                    (text, verdict)
                }
            }
        }
    };
    Line {
        what: "capacity over that of the datasheets".to_owned(),
        found,
        wanted: format!("at least {:.0} %", 100.0 * GOOD_CAPACITY_RATIO),
        verdict,
        rule: format!(
            "regression after ASTM E2848; fail: all of its 95 % interval under {:.0} %; sensors add \
             about 3 %",
            100.0 * BAD_CAPACITY_RATIO
        ),
    }
}
