//! How often what is told of a kind has been right, for kinds whose test states no probability of its own.
//!
//! Model:   (r + 1) / (n + 2), r right ones of n findings of severity `plan` and above (Laplace's rule of
//!          succession); of a kind that was never told a half.
//! Symbols: r, n counts.
//! Range:   as many faults as in the campaign: one plant in three without any, every kind as often as
//!          any other. Where faults are rarer, fewer findings are right.
//! Source:  the fault campaign, `--plants 9 --healthy 60 --days 180` of seeds 141 and 161 and
//!          `--only healthy --healthy 150 --days 180` of seed 151, each before anybody had looked at it: the
//!          runs whose fault was found, beside them what was told beside and the false alarms. Few of each:
//!          the shares will move as more is measured.
//! Check:   the reliability table that the campaign writes, on another seed.

use crate::detect::Kind;

/// Kind, right ones, findings.
const MEASURED: &[(Kind, u32, u32)] = &[
    (Kind::CurrentLow, 10, 24),
    (Kind::Shade, 10, 11),
    (Kind::Soiling, 5, 9),
    (Kind::Snow, 13, 13),
    (Kind::TrackerOffPeak, 11, 12),
    (Kind::InverterOff, 18, 24),
    (Kind::EfficiencyLow, 18, 18),
    (Kind::GridVoltageHigh, 13, 16),
    (Kind::ValueImpossible, 18, 30),
    (Kind::ValueFrozen, 18, 18),
    (Kind::ClockOff, 10, 12),
    (Kind::SensorWrong, 14, 18),
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
