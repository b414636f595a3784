//! How rare false alarms must be in one stream of a sequential test, from the one number that the
//! site file gives.
//!
//! Model:   the budget b, false alarms per inverter and year, is shared out by kind; a kind's share
//!          is split evenly among its streams on the inverter. With n observations a year a stream
//!          may alarm falsely once in A = n streams / (share b) observations.
//! Symbols: b [1/year], share [-], n [1/year], A [-].
//! Range:   b > 0.
//! Source:  own; the default of 0.05 a year (1 in 20 inverter-years) is the project's design. The
//!          shares are engineering judgement: more for what costs more.
//! Check:   unit tests below; what it comes to on simulated plants: the campaign.

use super::Kind;

/// Shares of the budget, of kinds told by a sequential test. What is left is for the others: they
/// are told by counts and limits.
const SHARES: [(Kind, f64); 9] = [
    (Kind::CurrentLow, 0.15),
    (Kind::SectionLost, 0.15),
    (Kind::ResistanceHigh, 0.1),
    (Kind::Shade, 0.1),
    (Kind::Soiling, 0.1),
    (Kind::TrackerOffPeak, 0.1),
    (Kind::EfficiencyLow, 0.05),
    (Kind::InputsSwapped, 0.05),
    (Kind::SensorWrong, 0.1),
];

/// False alarms that a plant may give.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Budget {
    per_inverter_year: f64,
}

impl Budget {
    /// This many per inverter and year.
    pub fn new(per_inverter_year: f64) -> Self {
        Self { per_inverter_year }
    }

    /// Observations that must lie between false alarms on the mean, in each of a kind's `streams` on
    /// one inverter; infinite for a kind without a share.
    pub fn observations_between(self, kind: Kind, streams: usize, per_year: f64) -> f64 {
        let share = SHARES.iter().find(|(of, _)| *of == kind);
        let allowed = share.map_or(0.0, |(_, share)| share * self.per_inverter_year);
        per_year * streams as f64 / allowed
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_streams_of_all_kinds_together_stay_inside_the_budget() {
        let budget = Budget::new(0.05);
        let mut alarms_per_year = 0.0;
        for kind in Kind::ALL {
            let between = budget.observations_between(*kind, 3, 365.0);
            alarms_per_year += 3.0 * 365.0 / between;
        }
        assert!(
            alarms_per_year > 0.04 && alarms_per_year <= 0.05,
            "{alarms_per_year}"
        );
    }

    #[test]
    fn twice_the_budget_is_half_the_patience() {
        let between = |b| Budget::new(b).observations_between(Kind::CurrentLow, 2, 300.0);
        assert!((between(0.1) / between(0.2) - 2.0).abs() < 1e-12);
    }
}
