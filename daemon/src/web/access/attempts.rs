//! How often a password may be tried: a few times at once, then seldom, by address and by all. Those from where
//! somebody has signed in have a share of their own.
//! Never in here: whether it is right.

use super::place;
use std::collections::BTreeMap;
use std::net::IpAddr;
use std::sync::Mutex;
use std::time::Duration;
use tokio::time::Instant;

/// By one place: at once, and then one in this time (judgement: a person who mistypes is not held
/// up, a program gets 180 an hour).
const BY_ONE: Allowance = Allowance {
    burst: 5.0,
    every_s: 20.0,
};
/// By all places together.
const BY_ALL: Allowance = Allowance {
    burst: 30.0,
    every_s: 2.0,
};
/// By all those together from where somebody has signed in before: whoever guesses from many other places
/// does not use it up.
const BY_KNOWN: Allowance = BY_ALL;
/// Places that are remembered; of more, those that tried longest ago are forgotten.
const MOST_PLACES: usize = 1000;
/// Places from where somebody has signed in.
const MOST_KNOWN: usize = 100;

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

/// Counts tries by place.
#[derive(Debug)]
pub struct Attempts(Mutex<Counts>);

#[derive(Debug)]
struct Counts {
    by_all: Left,
    by_known: Left,
    by_place: BTreeMap<IpAddr, Left>,
    /// From where somebody has signed in, and when he last did.
    known: BTreeMap<IpAddr, Instant>,
}

impl Attempts {
    /// Nobody has tried.
    pub fn new(now: Instant) -> Self {
        Self(Mutex::new(Counts {
            by_all: BY_ALL.full(now),
            by_known: BY_KNOWN.full(now),
            by_place: BTreeMap::new(),
            known: BTreeMap::new(),
        }))
    }

    /// Whether somebody may try now, which counts; else how long to wait.
    pub fn may(&self, from: IpAddr, now: Instant) -> Result<(), Duration> {
        let from = place(from);
        let mut counts = self.0.lock().expect("nothing under this lock panics");
        let Counts {
            by_all,
            by_known,
            by_place,
            known,
        } = &mut *counts;
        if !by_place.contains_key(&from) {
            make_room(by_place, MOST_PLACES, |left| left.at);
        }
        let own = by_place.entry(from).or_insert_with(|| BY_ONE.full(now));
        let (all, of_all) = match known.contains_key(&from) {
            true => (by_known, BY_KNOWN),
            false => (by_all, BY_ALL),
        };
        BY_ONE.refill(own, now);
        of_all.refill(all, now);
        for (left, allowance) in [(&*own, BY_ONE), (&*all, of_all)] {
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

    /// Somebody has signed in.
    pub fn signed_in(&self, from: IpAddr, now: Instant) {
        let from = place(from);
        let mut counts = self.0.lock().expect("nothing under this lock panics");
        if !counts.known.contains_key(&from) {
            make_room(&mut counts.known, MOST_KNOWN, |at| *at);
        }
        counts.known.insert(from, now);
    }
}

/// Forgets the oldest where there are as many as there may be.
fn make_room<T>(places: &mut BTreeMap<IpAddr, T>, most: usize, at: impl Fn(&T) -> Instant) {
    if places.len() >= most {
        let oldest = places.iter().min_by_key(|(_, left)| at(left));
        let oldest = oldest.map(|(address, _)| *address);
        oldest.and_then(|address| places.remove(&address));
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

    #[test]
    fn a_network_is_one_place_and_who_was_in_before_is_not_locked_out() {
        let now = crate::clock::monotonic();
        let attempts = Attempts::new(now);
        let of_network = |net: u16, host: u16| IpAddr::from([0x2001, 0xdb8, 0, net, 0, 0, 0, host]);
        let passed = (0..40).filter(|host| attempts.may(of_network(0, *host), now).is_ok());
        assert_eq!(passed.count(), 5, "one network has addresses enough");
        attempts.signed_in(of_network(1, 1), now);
        for net in 2..100 {
            let _ = attempts.may(of_network(net, 1), now);
        }
        attempts
            .may(address(1), now)
            .expect_err("the rest of all is used up");
        attempts
            .may(of_network(1, 7), now)
            .expect("from where one was in before");
    }
}
