//! The task of time: the watermark moves without readings, and steps of the clock are seen.
//! Never in here: what silence means.

use super::Arrival;
use crate::clock::Clock;
use analysis::reading::Span;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::time::MissedTickBehavior;
use tracing::warn;

/// How often the watermark moves without readings.
const TICK: Duration = Duration::from_secs(1);
/// A step of the clock from tick to tick that is none [s]: forward as after a busy second, back as
/// when a time server corrects it.
const LONGEST_STEP_S: f64 = 10.0;
const LONGEST_STEP_BACK_S: f64 = 2.0;

/// Whether so much cannot have passed by itself from one arrival to the next, with ticks among them.
pub(super) fn is_step(clock: &Clock, passed: Span) -> bool {
    !(-LONGEST_STEP_BACK_S..LONGEST_STEP_S).contains(&clock.real_seconds(passed))
}

/// Tells the time until told to stop.
pub(super) async fn tick(
    clock: Clock,
    arrivals: mpsc::Sender<Arrival>,
    mut stopped: watch::Receiver<bool>,
) {
    let mut interval = tokio::time::interval(TICK);
    // Ticks that a full queue held back are not made up for: the next one says it all.
    interval.set_missed_tick_behavior(MissedTickBehavior::Delay);
    let mut before = clock.now();
    loop {
        tokio::select! {
            _ = stopped.changed() => return,
            _ = interval.tick() => {}
        }
        let sent = clock.now();
        let passed = sent - before;
        before = sent;
        if is_step(&clock, passed) {
            warn!(
                step_s = clock.real_seconds(passed),
                "the clock was set or the program was held; silence counts from here"
            );
        }
        let arrival = Arrival {
            sent,
            readings: Vec::new(),
            settings: None,
        };
        if arrivals.send(arrival).await.is_err() {
            return;
        }
    }
}
