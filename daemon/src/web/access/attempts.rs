//! How often a password may be tried: a few times at once, then seldom, by address and by all.
//! Never in here: whether it is right.

use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Mutex;
use std::time::Duration;
use tokio::time::Instant;

/// By one address: at once, and then one in this time (judgement: a person who mistypes is not held
/// up, a program gets 180 an hour).
const BY_ONE: Allowance = Allowance {
    burst: 5.0,
    every_s: 20.0,
};
/// By all addresses together.
const BY_ALL: Allowance = Allowance {
    burst: 30.0,
    every_s: 2.0,
};
/// Addresses that are remembered; of more, those that tried longest ago are forgotten.
const MOST_ADDRESSES: usize = 1000;

#[derive(Debug, Clone, Copy)]
struct Allowance {
    burst: f64,
    every_s: f64,
}

/// What is left, as of a moment.
#[derive(Debug, Clone, Copy)]
struct Left {
    tries: f64,
    at: Instant,
}

/// Counts tries.
#[derive(Debug)]
pub struct Attempts(Mutex<(Left, BTreeMap<IpAddr, Left>)>);

impl Attempts {
    /// Nobody has tried.
    pub fn new(now: Instant) -> Self {
        Self(Mutex::new((BY_ALL.full(now), BTreeMap::new())))
    }

    /// Whether somebody may try now, which counts; else how long to wait.
    pub fn may(&self, from: IpAddr, now: Instant) -> Result<(), Duration> {
        let mut counts = self.0.lock().expect("nothing under this lock panics");
        let (all, by_address) = &mut *counts;
        if by_address.len() >= MOST_ADDRESSES && !by_address.contains_key(&from) {
            let oldest = by_address.iter().min_by_key(|(_, left)| left.at);
            let oldest = oldest.map(|(address, _)| *address);
            oldest.and_then(|address| by_address.remove(&address));
        }
        let own = by_address.entry(from).or_insert_with(|| BY_ONE.full(now));
        BY_ONE.refill(own, now);
        BY_ALL.refill(all, now);
        for (left, allowance) in [(&*own, BY_ONE), (&*all, BY_ALL)] {
            if left.tries < 1.0 {
                return Err(Duration::from_secs_f64(
                    (1.0 - left.tries) * allowance.every_s,
                ));
            }
        }
        own.tries -= 1.0;
        all.tries -= 1.0;
        Ok(())
    }
}

impl Allowance {
    fn full(self, at: Instant) -> Left {
        Left {
            tries: self.burst,
            at,
        }
    }

    fn refill(self, left: &mut Left, now: Instant) {
        let since_s = now.saturating_duration_since(left.at).as_secs_f64();
        left.tries = (left.tries + since_s / self.every_s).min(self.burst);
        left.at = now;
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn after_a_few_tries_one_has_to_wait_and_others_need_not() {
        let now = crate::clock::monotonic();
        let attempts = Attempts::new(now);
        for _ in 0..5 {
            attempts.may(address(1), now).expect("a few at once");
        }
        let wait = attempts.may(address(1), now).expect_err("too many");
        assert_eq!(wait, Duration::from_secs(20));
        attempts.may(address(2), now).expect("somebody else");
        let later = now + Duration::from_secs(21);
        attempts.may(address(1), later).expect("one more by then");
        attempts.may(address(1), later).expect_err("and no second");
    }

    #[test]
    fn many_addresses_together_have_to_wait_too() {
        let now = crate::clock::monotonic();
        let attempts = Attempts::new(now);
        let passed = (0..40).filter(|last| attempts.may(address(*last), now).is_ok());
        assert_eq!(passed.count(), 30);
    }
}
