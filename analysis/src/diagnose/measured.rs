//! How often what is told of a kind has been right, for kinds whose test states no probability of its own.
//!
//! Model:   (r + 1) / (n + 2), r right ones of n findings of severity `plan` and above (Laplace's rule of
//!          succession); of a kind that was never told a half.
//! Symbols: r, n counts.
//! Range:   as many faults as in the campaign: one plant in five without any, every kind as often as
//!          any other. Where faults are rarer, fewer findings are right.
//! Source:  the fault campaign, `--plants 9 --healthy 60 --days 180 --seed 7`: first right findings of
//!          runs, beside them what was told beside and the false alarms, by the program of that day. Few of
//!          each: the shares will move as more is measured.
//! Check:   the reliability table that the campaign writes, on another seed.

use crate::detect::Kind;

/// Kind, right ones, findings.
const MEASURED: &[(Kind, u32, u32)] = &[
    (Kind::CurrentLow, 7, 13),
    (Kind::Shade, 4, 10),
    (Kind::Soiling, 1, 3),
    (Kind::Snow, 6, 6),
    (Kind::TrackerOffPeak, 7, 10),
    (Kind::InverterOff, 9, 16),
    (Kind::EfficiencyLow, 9, 10),
    (Kind::GridVoltageHigh, 5, 5),
    (Kind::ValueImpossible, 9, 22),
    (Kind::ValueFrozen, 4, 4),
    (Kind::ClockOff, 2, 2),
    (Kind::SensorWrong, 8, 11),
];

/// The confidence with which a kind is told.
pub(super) fn measured(kind: Kind) -> f64 {
    let row = MEASURED.iter().find(|(of, ..)| *of == kind);
    let (right, all) = row.map_or((0, 0), |(_, right, all)| (*right, *all));
    f64::from(right + 1) / f64::from(all + 2)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_kind_stands_twice_and_no_finding_is_certain() {
        for (n, (kind, right, all)) in MEASURED.iter().enumerate() {
            assert!(right <= all, "{kind:?}");
            assert!(MEASURED[..n].iter().all(|(of, ..)| of != kind), "{kind:?}");
            assert!((0.0..1.0).contains(&measured(*kind)), "{kind:?}");
        }
        assert_eq!(measured(Kind::Degradation), 0.5);
    }
}
