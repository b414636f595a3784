//! Findings on the wiring, in words and numbers. Never in here: decisions.

use super::{causes, evidence, place};
use crate::detect::{Kind, Wiring, WiringDay};
use crate::diagnose::{NewFinding, Subject};
use crate::plant::Inverter;
use crate::reading::{Energy, Time};

/// A wiring that is not as described; `None` for one that is.
pub fn wiring(
    inverter: &Inverter,
    day: &WiringDay,
    found: Time,
    (wiring, confidence): (Wiring, f64),
) -> Option<NewFinding> {
    let fit = day.fits.iter().find(|fit| fit.wiring == wiring)?;
    let described = &day.fits[0];
    let input = |k: usize| Subject::input(&inverter.id, inverter.inputs[k].number);
    let (kind, subject, summary, ranked): (_, _, _, &[(&str, f64)]) = match wiring {
        Wiring::AsDescribed => return None,
        Wiring::Swapped(a, b) => (
            Kind::InputsSwapped,
            Subject::device(&inverter.id),
            format!(
                "{} and {} carry a whole day what the site file describes for the other: their arrays are \
                 swapped, in the wiring or in the site file. Until that is corrected neither can be judged.",
                place(&input(a)),
                place(&input(b)),
            ),
            &[
                (
                    "the strings of the two inputs are connected to each other's",
                    0.5,
                ),
                ("the site file describes them the other way round", 0.5),
            ],
        ),
        Wiring::Strings { input: k, count } => {
            let of = inverter.inputs[k].strings.len();
            let ranked: &[(&str, f64)] = if count < of {
                &[
                    ("strings open since before the first reading", 0.5),
                    (
                        "fewer strings on the input than the site file describes",
                        0.5,
                    ),
                ]
            } else {
                &[(
                    "more strings on the input than the site file describes",
                    1.0,
                )]
            };
            (
                Kind::StringCountDiffers,
                input(k),
                format!(
                    "{}: the site file describes {of}, the current of a whole day is that of {count} string{}.",
                    place(&input(k)),
                    if count == 1 { "" } else { "s" },
                ),
                ranked,
            )
        }
    };
    let scatter = |of: &crate::detect::Fit| {
        let parts = of.planes.iter().chain(&of.own);
        let own = parts.map(|part| part.current.variance());
        own.sum::<f64>().sqrt()
    };
    Some(NewFinding {
        subject,
        kind,
        began: day.began,
        found,
        confidence,
        causes: causes(ranked),
        evidence: evidence(&[
            ("light_s", day.light.seconds()),
            ("scatter_as_described_ratio", scatter(described)),
            ("scatter_as_found_ratio", scatter(fit)),
            (
                "level_as_described_ratio",
                described.shared.current.mean().exp(),
            ),
            ("level_as_found_ratio", fit.shared.current.mean().exp()),
        ]),
        lost: Energy::from_wh(0.0),
        summary,
    })
}
