//! The daemon's clock: the only file that asks what time it is.
//!
//! Live, it is the system's. In a rehearsal it starts at a given time and runs faster, so that a
//! day in front of a simulated device takes minutes.

use analysis::reading::{Span, Time};
use std::time::{Duration, SystemTime, UNIX_EPOCH};
use tokio::time::Instant;

/// Where time comes from.
#[derive(Debug, Clone, Copy)]
pub enum Clock {
    /// The system's clock.
    System,
    /// Runs `rate` times as fast as the system's, from `from` at `started`.
    Rehearsal {
        /// Time at the start.
        from: Time,
        /// Site seconds per second.
        rate: f64,
        /// When it was started.
        started: Instant,
    },
}

impl Clock {
    /// A clock that starts now at `from` and runs `rate` times as fast as the system's.
    pub fn rehearsal(from: Time, rate: f64) -> Self {
        Clock::Rehearsal {
            from,
            rate,
            started: Instant::now(),
        }
    }

    /// What time it is.
    #[expect(clippy::disallowed_methods, reason = "this is the clock")]
    pub fn now(&self) -> Time {
        match self {
            Clock::System => {
                let since = SystemTime::now().duration_since(UNIX_EPOCH);
                Time::from_unix_ms(since.map_or(0, |d| d.as_millis() as i64))
            }
            Clock::Rehearsal {
                from,
                rate,
                started,
            } => *from + Span::from_ms((started.elapsed().as_secs_f64() * rate * 1000.0) as i64),
        }
    }

    /// Waits until it is `at`.
    pub async fn sleep_until(&self, at: Time) {
        let left_s = self.real_seconds(at - self.now());
        if left_s > 0.0 {
            tokio::time::sleep(Duration::from_secs_f64(left_s)).await;
        }
    }

    /// How long a span of this clock really takes, in seconds; below zero for one that goes back.
    pub fn real_seconds(&self, span: Span) -> f64 {
        match self {
            Clock::System => span.seconds(),
            Clock::Rehearsal { rate, .. } => span.seconds() / rate,
        }
    }
}

/// For how long something lasts: neither a rehearsal nor a clock that is set moves it, and it is no time of
/// day.
pub fn monotonic() -> Instant {
    Instant::now()
}
