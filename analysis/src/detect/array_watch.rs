//! Whether an input's current or voltage has left what it was: beside the last month, beside the
//! handover, beside the datasheet. The first sees small steps, the second slow losses, the third what
//! was there from the start.
//!
//! Model:   the value of a day is how much less it is than the reference, ln reference - ln day.
//!          One sequential test for each reference, each with its own edge of health
//!          (`shift`). The day's standard deviation is what was stated, drawn to the input's own
//!          scatter s_own of its last n healthy days: s^2 = (7 s_stated^2 + n s_own^2) / (7 + n).
//! Symbols: [-].
//! Range:   days that `array_day` gives a value for.
//! Source:  own; the seven days that a statement is worth are engineering judgement.
//! Check:   unit tests below; tests/acceptance/engine/array.rs.

use super::Edge;
use super::array_day::DayMedian;
use super::shift::{DayValue, Shift, ShiftWatch, Sought};
use crate::reading::{Time, median, robust_spread};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Days that the stated scatter counts for, and healthy days that are remembered.
const STATED_DAYS: f64 = 7.0;
const KEPT_DAYS: usize = 30;

/// What a day is held against.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reference {
    /// ln of it over the datasheet.
    pub ln: f64,
    /// What lasting errors may make of a healthy input beside it.
    pub edge: f64,
}

/// Which reference showed it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Beside {
    /// What it was in the last month.
    LastMonth,
    /// What it was when it was handed over.
    Handover,
    /// What the datasheet says.
    Datasheet,
}

impl Beside {
    /// All of them, in the order of [`References`].
    pub const ALL: [Self; 3] = [Self::LastMonth, Self::Handover, Self::Datasheet];
}

/// What is known of health, by what it is held against.
pub type References = [Option<Reference>; Beside::ALL.len()];

/// What was found missing.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Deficit {
    /// How much, since when, how sure.
    pub shift: Shift,
    /// Beside what.
    pub beside: Beside,
    /// ln of that over the datasheet.
    pub reference_ln: f64,
}

/// One quantity of one input.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ArrayWatch {
    watches: [ShiftWatch; Beside::ALL.len()],
    /// ln measured over the last month's, on days that nothing was wrong with.
    healthy: VecDeque<f32>,
}

impl ArrayWatch {
    /// Takes a day that has ended.
    pub fn add(
        &mut self,
        (began, day): (Time, &DayMedian),
        found: Time,
        references: &References,
        sought: &Sought,
    ) -> Option<Edge<Deficit>> {
        let stood = self.stands();
        let sigma = self.sigma(day.sigma);
        let mut edge = None;
        let watches = self.watches.iter_mut().zip(references).zip(Beside::ALL);
        for ((watch, reference), beside) in watches {
            let Some(reference) = reference else { continue };
            let value = DayValue {
                began,
                value: reference.ln - day.ln,
                sigma,
                edge: reference.edge,
            };
            let told = watch.add(&value, found, sought).map(|edge| {
                edge.map(|shift| Deficit {
                    shift,
                    beside,
                    reference_ln: reference.ln,
                })
            });
            edge = edge.or(told);
        }
        self.remember(day, references, sought);
        match edge {
            Some(Edge::Found { .. }) if !stood => edge,
            Some(Edge::Ended { .. }) if stood && !self.stands() => edge,
            _ => None,
        }
    }

    /// Whether anything stands beside any reference.
    pub fn stands(&self) -> bool {
        self.watches.iter().any(|watch| watch.standing().is_some())
    }

    /// Whether evidence gathers: such days should teach nothing.
    pub fn is_suspicious(&self, sought: &Sought) -> bool {
        self.watches.iter().any(|watch| watch.is_suspicious(sought))
    }

    fn sigma(&self, stated: f64) -> f64 {
        let n = self.healthy.len() as f64;
        let values = || self.healthy.iter().map(|x| f64::from(*x));
        let own = median(values()).and_then(|middle| robust_spread(values(), middle));
        let own = own.unwrap_or(0.0);
        ((STATED_DAYS * stated.powi(2) + n * own.powi(2)) / (STATED_DAYS + n)).sqrt()
    }

    fn remember(&mut self, day: &DayMedian, references: &References, sought: &Sought) {
        let [Some(last_month), ..] = references else {
            return;
        };
        if self.is_suspicious(sought) {
            return;
        }
        if self.healthy.len() == KEPT_DAYS {
            self.healthy.pop_front();
        }
        self.healthy.push_back((day.ln - last_month.ln) as f32);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOUGHT: Sought = Sought {
        smallest: 0.005,
        days_between: 1e5,
        within: None,
    };
    const REFERENCES: References = [
        Some(Reference {
            ln: -0.002,
            edge: 0.002,
        }),
        Some(Reference {
            ln: -0.002,
            edge: 0.004,
        }),
        Some(Reference {
            ln: 0.0,
            edge: 0.013,
        }),
    ];

    /// Feeds days of this ln, and gives the days on which something was told.
    fn told(
        lns: impl Iterator<Item = f64>,
        references: &References,
    ) -> Vec<(usize, Edge<Deficit>)> {
        let mut watch = ArrayWatch::default();
        let mut told = Vec::new();
        for (n, ln) in lns.enumerate() {
            let at = Time::from_unix_ms(n as i64 * 86_400_000);
            // A scatter that does not look like one number.
            let wobble = 0.001 * f64::from([0, 1, -1, 1, 0, -1][n % 6]);
            let day = DayMedian {
                ln: ln + wobble,
                sigma: 0.002,
            };
            let edge = watch.add((at, &day), at, references, &SOUGHT);
            told.extend(edge.map(|edge| (n, edge)));
        }
        told
    }

    #[test]
    fn a_step_of_one_section_in_sixty_is_told_within_three_days_and_its_end_once() {
        let lns = (0..80).map(|n| {
            if (40..60).contains(&n) {
                -0.019
            } else {
                -0.002
            }
        });
        let told = told(lns, &REFERENCES);
        let [
            (found, Edge::Found { seen, .. }),
            (ended, Edge::Ended { .. }),
        ] = told[..]
        else {
            panic!("{told:?}");
        };
        // Beside the last month the step is 0.015 beyond the edge, between twice and four times the
        // smallest: by eq. of `shift` a day counts 200 times and a little with the weight of those
        // sizes, 100 after the first day, 2e4 after the second, and 1e5 is asked: the third.
        assert_eq!(found, 42);
        // A good day counts 971 times beside the last month and some 80 beside the datasheet, whose
        // edge is 3 s under what stands; 3650 are asked: two good days, one more for the wobble.
        assert!((61..63).contains(&ended), "{ended}");
        assert!((seen.shift.size - 0.017).abs() < 0.002, "{seen:?}");
    }

    #[test]
    fn a_section_that_was_missing_at_the_handover_is_told_beside_the_datasheet() {
        let lns = std::iter::repeat_n(-0.0185, 30);
        let told = told(lns, &[None, None, REFERENCES[2]]);
        assert!(
            matches!(told[..], [(n, Edge::Found { seen, .. })] if n < 6 && seen.beside == Beside::Datasheet),
            "{told:?}"
        );
    }

    #[test]
    fn healthy_days_tell_nothing_and_narrow_the_scatter() {
        let told = told(std::iter::repeat_n(-0.002, 200), &REFERENCES);
        assert_eq!(told, Vec::new());
    }
}
