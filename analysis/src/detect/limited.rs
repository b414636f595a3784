//! Days on which limits took more than a little of what the array could have given.
//!
//! Model:   of each slot under a limit that holds back, the energy taken is what was expected less what
//!          was measured; under rated power it is what the peaks would give above it, which is no part
//!          of the balance. A day is limited when its limits took more than `LEAST_RATIO` of
//!          expected + above rated.
//!          Limited days in a row are one stretch: told with the first, brought up to date with each
//!          that follows, over with the first day that had light and was not limited. Days without
//!          light or record neither count nor end it. A plant that clips every clear noon of a summer
//!          is one fact and not ninety; the ledger has each day by the hour.
//! Symbols: energies [Wh] on the AC side.
//! Source:  own; 1 % of a day as in the project's design. What is missing in a slot as in `ledger`.
//! Check:   unit tests below; tests/acceptance/engine/limited_days.rs against the same days unlimited.

use crate::array::Limit;
use crate::reading::Time;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Share of a day's energy from which limits are worth a note [-].
const LEAST_RATIO: f64 = 0.01;
/// Power limits that differ by more than this within a day follow something [-].
const SAME_COMMAND_RATIO: f64 = 0.02;

/// What one slot of an inverter says about its limits.
#[derive(Debug, Clone, PartialEq)]
pub struct LimitedSlot {
    /// Its start and its end.
    pub from: Time,
    /// First moment after it.
    pub to: Time,
    /// Expected on the AC side, at most rated [Wh].
    pub expected_wh: f64,
    /// Taken by each limit that held it or an input back [Wh].
    pub taken: Vec<(Limit, f64)>,
    /// Power limit in force over rated power [-].
    pub power_limit_ratio: Option<f64>,
}

/// Limited days in a row.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stretch {
    /// First slot that was limited.
    pub began: Time,
    /// End of the last one.
    pub ended: Time,
    /// Taken by each limit since it began [Wh].
    pub taken: BTreeMap<Limit, f64>,
    /// What all of it could have given [Wh].
    pub offered_wh: f64,
    /// Limited days in it.
    pub days: u32,
    /// Of these, days on which heat took something.
    pub hot_days: u32,
    /// Of these, days whose power limit moved, and whose limit stood still.
    pub command_moved: (u32, u32),
    /// Taken on the last day over what that day could have given [-].
    pub last_day_ratio: f64,
    /// The largest such share of a day [-].
    pub worst_day_ratio: f64,
}

impl Stretch {
    /// All that was taken [Wh].
    pub fn all_wh(&self) -> f64 {
        self.taken.values().sum()
    }

    /// The limits, the one that took most first.
    pub fn ranked(&self) -> Vec<(Limit, f64)> {
        let mut ranked: Vec<_> = self.taken.iter().map(|(l, wh)| (*l, *wh)).collect();
        ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
        ranked
    }
}

/// What a day that has ended says.
#[derive(Debug, Clone, PartialEq)]
pub enum LimitedEdge {
    /// A limited day, the first of a stretch or one more; with what it took from the balance [Wh].
    Limited(Stretch, f64),
    /// The stretch is over.
    Ended(Stretch),
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct Today {
    began: Option<Time>,
    ended: Time,
    expected_wh: f64,
    taken: BTreeMap<Limit, f64>,
    command: Option<(f64, f64)>,
}

/// The limits of one inverter, day by day.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct LimitedDays {
    today: Option<Today>,
    stretch: Option<Stretch>,
}

impl LimitedDays {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a slot with light.
    pub fn add(&mut self, slot: &LimitedSlot) {
        let today = self.today.get_or_insert_with(|| Today {
            began: None,
            ended: slot.to,
            expected_wh: 0.0,
            taken: BTreeMap::new(),
            command: None,
        });
        today.expected_wh += slot.expected_wh;
        for (limit, wh) in slot.taken.iter().filter(|(_, wh)| *wh > 0.0) {
            *today.taken.entry(*limit).or_insert(0.0) += wh;
            today.began.get_or_insert(slot.from);
            today.ended = slot.to;
            if let (Limit::Command, Some(ratio)) = (limit, slot.power_limit_ratio) {
                let (low, high) = today.command.unwrap_or((ratio, ratio));
                today.command = Some((low.min(ratio), high.max(ratio)));
            }
        }
    }

    /// Decides on the day so far, if there is one: at its sunset, or when another has begun.
    pub fn close(&mut self) -> Option<LimitedEdge> {
        let today = self.today.take()?;
        let above_wh = today.taken.get(&Limit::RatedPower).copied();
        let above_wh = above_wh.unwrap_or(0.0);
        let offered_wh = today.expected_wh + above_wh;
        let all_wh: f64 = today.taken.values().sum();
        let is_limited = all_wh > LEAST_RATIO * offered_wh;
        let Some(began) = today.began.filter(|_| is_limited) else {
            return self.stretch.take().map(LimitedEdge::Ended);
        };
        let stretch = self.stretch.get_or_insert_with(|| Stretch {
            began,
            ended: today.ended,
            taken: BTreeMap::new(),
            offered_wh: 0.0,
            days: 0,
            hot_days: 0,
            command_moved: (0, 0),
            last_day_ratio: 0.0,
            worst_day_ratio: 0.0,
        });
        stretch.ended = today.ended;
        stretch.offered_wh += offered_wh;
        stretch.days += 1;
        stretch.hot_days += u32::from(today.taken.contains_key(&Limit::Heat));
        match today.command {
            Some((low, high)) if high - low > SAME_COMMAND_RATIO => stretch.command_moved.0 += 1,
            Some(_) => stretch.command_moved.1 += 1,
            None => {}
        }
        stretch.last_day_ratio = all_wh / offered_wh;
        stretch.worst_day_ratio = stretch.worst_day_ratio.max(stretch.last_day_ratio);
        for (limit, wh) in today.taken {
            *stretch.taken.entry(limit).or_insert(0.0) += wh;
        }
        Some(LimitedEdge::Limited(stretch.clone(), all_wh - above_wh))
    }

    /// The slots of today will come again.
    pub fn forget_today(&mut self) {
        self.today = None;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Span;

    fn at(day: i64, hour: i64) -> Time {
        Time::from_unix_ms(0) + Span::from_h(24 * day + hour)
    }

    /// Ten hours of 1 kWh, of which noon lost this to a limit.
    fn day_of(watch: &mut LimitedDays, day: i64, limit: Limit, wh: f64) -> Option<LimitedEdge> {
        for hour in 7..17 {
            let taken = if hour == 12 {
                vec![(limit, wh)]
            } else {
                vec![]
            };
            let slot = LimitedSlot {
                from: at(day, hour),
                to: at(day, hour + 1),
                expected_wh: 1000.0,
                taken,
                power_limit_ratio: None,
            };
            watch.add(&slot);
        }
        watch.close()
    }

    #[test]
    fn limited_days_in_a_row_are_one_stretch_that_the_first_free_day_ends() {
        let mut watch = LimitedDays::new();
        for n in 0..3 {
            let edge = day_of(&mut watch, n, Limit::VoltWatt, 300.0);
            let Some(LimitedEdge::Limited(stretch, balance_wh)) = edge else {
                panic!("{edge:?}");
            };
            assert_eq!((stretch.days, stretch.began), (n as u32 + 1, at(0, 12)));
            assert!((stretch.all_wh() - 300.0 * (n + 1) as f64).abs() < 1e-9);
            assert!((balance_wh - 300.0).abs() < 1e-9);
        }
        // A day without light or record ends nothing.
        assert_eq!(watch.close(), None);
        let Some(LimitedEdge::Ended(over)) = day_of(&mut watch, 4, Limit::VoltWatt, 90.0) else {
            panic!("a free day ends it");
        };
        assert_eq!(over.ended, at(2, 13));
    }

    #[test]
    fn what_lies_above_rated_power_is_counted_and_is_no_part_of_the_balance() {
        let mut watch = LimitedDays::new();
        // 102 Wh of 10 102: 1.01 %.
        let edge = day_of(&mut watch, 0, Limit::RatedPower, 102.0);
        let Some(LimitedEdge::Limited(stretch, balance_wh)) = edge else {
            panic!("{edge:?}");
        };
        assert!((stretch.last_day_ratio - 102.0 / 10_102.0).abs() < 1e-12);
        assert_eq!(balance_wh, 0.0);
        let mut watch = LimitedDays::new();
        assert_eq!(day_of(&mut watch, 0, Limit::RatedPower, 100.0), None);
    }
}
