//! How what was produced compares with what the weather gave: the one rule for mails, reports and
//! pages.
//!
//! Model:   of what was recorded, R = E - E_n, the share s = M / R was produced and
//!          h = (M + L) / R was produced or held back by limits.
//!          R < `LEAST_RECORDED` E: nothing is said; s >= `LEAST_SHARE`: as it should;
//!          else h >= `LEAST_SHARE`: held back; else short of it.
//! Symbols: E expected, E_n expected while nothing was recorded, M measured, L held back [Wh].
//! Source:  own.
//! Check:   unit tests below.

use super::Balance;
use crate::ledger::Loss;

/// Below this share of what was expected a plant is not doing what it should, whatever was found
/// (judgement: twice what healthy plants scatter by).
const LEAST_SHARE: f64 = 0.9;
/// With less recorded nothing is said about the rest.
const LEAST_RECORDED: f64 = 0.5;

/// How a plant did in a period; shares are measured over expected of what was recorded [-].
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Account {
    /// There was no light to compare with.
    NoLight,
    /// Most of the light was not recorded.
    NotRecorded,
    /// It produced what it should.
    AsExpected(f64),
    /// It did not, by limits.
    HeldBack(f64),
    /// It did not, by more than limits.
    Short(f64),
}

impl Account {
    /// Of what was added up.
    pub fn of(balance: &Balance) -> Self {
        let expected_wh = balance.expected.wh();
        let recorded_wh = expected_wh - balance.sum(|loss| loss == Loss::NotRecorded).wh();
        let share = |wh: f64| wh / recorded_wh;
        let produced = share(balance.measured.wh());
        let held_back = share(balance.limited().wh());
        if expected_wh <= 0.0 {
            Account::NoLight
        } else if recorded_wh < LEAST_RECORDED * expected_wh {
            Account::NotRecorded
        } else if produced >= LEAST_SHARE {
            Account::AsExpected(produced)
        } else if produced + held_back >= LEAST_SHARE {
            Account::HeldBack(produced)
        } else {
            Account::Short(produced)
        }
    }

    /// What was produced of what was expected [-], where it is known.
    pub const fn share(self) -> Option<f64> {
        match self {
            Account::NoLight | Account::NotRecorded => None,
            Account::AsExpected(share) | Account::HeldBack(share) | Account::Short(share) => {
                Some(share)
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::array::Limit;
    use crate::reading::{Energy, Time};

    /// Of one hour in which so much was expected, measured, held back and not recorded [Wh].
    fn account(expected: f64, measured: f64, limited: f64, not_recorded: f64) -> Account {
        let mut entry = crate::ledger::Entry::new(Time::from_unix_ms(0), 0);
        entry.expected = Energy::from_wh(expected);
        entry.measured = Energy::from_wh(measured);
        entry
            .limited
            .insert(Limit::Command, Energy::from_wh(limited));
        entry.not_recorded = Energy::from_wh(not_recorded);
        let mut balance = Balance::zero();
        balance.add(&entry);
        Account::of(&balance)
    }

    #[test]
    fn what_was_not_recorded_is_not_missing() {
        assert_eq!(account(100.0, 60.0, 0.0, 40.0), Account::AsExpected(1.0));
        assert_eq!(account(100.0, 40.0, 0.0, 60.0), Account::NotRecorded);
        assert_eq!(account(100.0, 0.0, 0.0, 100.0), Account::NotRecorded);
    }

    #[test]
    fn what_limits_held_back_is_told_apart_from_what_is_short() {
        assert_eq!(account(100.0, 60.0, 38.0, 0.0), Account::HeldBack(0.6));
        assert_eq!(account(100.0, 60.0, 10.0, 0.0), Account::Short(0.6));
        assert_eq!(account(100.0, 91.0, 9.0, 0.0), Account::AsExpected(0.91));
    }

    #[test]
    fn at_night_there_is_nothing_to_compare_with() {
        assert_eq!(account(0.0, 0.0, 0.0, 0.0), Account::NoLight);
    }
}
