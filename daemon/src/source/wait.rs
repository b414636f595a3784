//! How long to wait before a device is tried again: longer each time, with jitter, up to a limit.
//! Never in here: sleeping; the caller owns the clock.

use backon::{BackoffBuilder, ExponentialBackoff, ExponentialBuilder};
use std::time::Duration;

/// First wait. Jitter makes it up to twice as long.
const FIRST: Duration = Duration::from_secs(1);
/// Longest wait, jitter included (common practice: a device that returns is seen in five minutes).
pub const LONGEST_WAIT: Duration = Duration::from_secs(300);

/// The waits between attempts, until one succeeds.
#[derive(Debug)]
pub struct Waits {
    series: ExponentialBackoff,
    attempts: u32,
}

impl Waits {
    /// Nothing has failed yet.
    pub fn new() -> Self {
        Self {
            series: series(),
            attempts: 0,
        }
    }

    /// An attempt failed: how long to wait before the next one.
    pub fn after_failure(&mut self) -> Duration {
        self.attempts = self.attempts.saturating_add(1);
        self.series.next().unwrap_or(LONGEST_WAIT)
    }

    /// An attempt succeeded: the next failure begins with short waits again.
    pub fn after_success(&mut self) {
        if self.attempts > 0 {
            *self = Self::new();
        }
    }

    /// Failures since the last success.
    pub fn attempts(&self) -> u32 {
        self.attempts
    }
}

impl Default for Waits {
    fn default() -> Self {
        Self::new()
    }
}

fn series() -> ExponentialBackoff {
    ExponentialBuilder::new()
        .with_min_delay(FIRST)
        // Jitter adds up to once the wait on top.
        .with_max_delay(LONGEST_WAIT / 2)
        .with_factor(2.0)
        .without_max_times()
        .with_jitter()
        .build()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_never_end_and_stay_under_the_limit() {
        let mut waits = Waits::new();
        let series: Vec<_> = (0..200).map(|_| waits.after_failure()).collect();
        assert!(series[0] >= FIRST && series[0] <= FIRST * 2);
        assert!(series.iter().all(|wait| *wait <= LONGEST_WAIT));
        assert!(series[20..].iter().all(|wait| *wait >= LONGEST_WAIT / 2));
        assert_eq!(waits.attempts(), 200);
    }

    #[test]
    fn a_success_starts_over() {
        let mut waits = Waits::new();
        for _ in 0..20 {
            waits.after_failure();
        }
        waits.after_success();
        assert!(waits.after_failure() <= FIRST * 2);
    }

    #[test]
    fn two_devices_do_not_wait_in_step() {
        let mut one = Waits::new();
        let mut other = Waits::new();
        let same = (0..20).filter(|_| one.after_failure() == other.after_failure());
        assert!(same.count() < 20);
    }
}
