//! The task of one device: when it is asked, and what is said of it when it does not answer.
//! Never in here: how a device is asked, or what a reading means.

use super::Arrival;
use crate::clock::Clock;
use crate::latest::Latest;
use crate::source::Night;
use crate::source::modbus::{Failure, Poller, Trouble};
use analysis::reading::{Span, Time};
use std::sync::Arc;
use tokio::sync::{mpsc, watch};
use tracing::{info, warn};

/// Asks one device until told to stop.
pub(super) async fn poll(
    mut poller: Poller,
    mut night: Option<Night>,
    latest: Arc<Latest>,
    clock: Clock,
    arrivals: mpsc::Sender<Arrival>,
    mut stopped: watch::Receiver<bool>,
) {
    let every = Span::from_ms(poller.settings().every.as_millis() as i64);
    let mut trouble = None;
    let mut due = clock.now();
    loop {
        let asked = async {
            clock.sleep_until(due).await;
            // What a neighbour on the same line takes is no part of the reading's time.
            let turn = clock.now();
            poller.ready().await;
            let at = clock.now();
            (turn, at, poller.poll(at).await)
        };
        let (turn, at, result) = tokio::select! {
            _ = stopped.changed() => return,
            asked = asked => asked,
        };
        if let Some(night) = &mut night {
            night.saw(result.as_deref().unwrap_or_default());
        }
        let in_the_night = night.as_ref().and_then(|night| night.every(at));
        note(
            &poller,
            result.as_ref().err(),
            in_the_night.is_some(),
            &mut trouble,
        );
        due = match result {
            Ok(readings) => {
                let sent = clock.now();
                let words = poller.take_words();
                latest.answered(poller.name(), at, &readings, words);
                let settings = poller.take_settings();
                let arrival = Arrival {
                    sent,
                    readings,
                    settings: settings.map(|s| (poller.name().clone(), at, s)),
                };
                if arrivals.send(arrival).await.is_err() {
                    return;
                }
                next_poll(turn, clock.now(), in_the_night.unwrap_or(every))
            }
            // Not aligned: jitter is there to keep devices apart.
            Err(failure) => {
                latest.failed(poller.name(), at, failure.error.trouble());
                clock.now() + Span::from_ms(failure.wait.as_millis() as i64)
            }
        };
    }
}

/// The next full period of the clock, so that polls of all devices fall together: the one after
/// that which the poll at `at` was for, or after `now` where a slow answer or a clock that was set
/// has left that behind.
fn next_poll(at: Time, now: Time, every: Span) -> Time {
    let after = |time: Time| time.slot_start(every) + every;
    // A timer may fire a little early against the clock, so the nearest period counts.
    let next = after(at + every.half());
    let is_ahead = now < next && next - now <= every + every.half();
    if is_ahead { next } else { after(now) }
}

/// Says when it starts to fail, fails in another way or answers again, not at every poll. Many
/// inverters take their power from the array and are off by night.
fn note(poller: &Poller, failure: Option<&Failure>, is_night: bool, trouble: &mut Option<Trouble>) {
    let (device, address) = (poller.name(), &poller.settings().endpoint);
    let now = failure.map(|failure| failure.error.trouble());
    if now == std::mem::replace(trouble, now) {
        return;
    }
    match failure {
        Some(Failure { error, .. }) if is_night => {
            info!(%device, %address, %error, "silent in the night; trying again, longer each time");
        }
        Some(Failure { error, .. }) => {
            warn!(%device, %address, %error, "poll failed; trying again, longer each time");
        }
        None => info!(%device, %address, "answers again"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EVERY: Span = Span::from_s(10);

    fn at(ms: i64) -> Time {
        Time::from_unix_ms(ms)
    }

    #[test]
    fn polls_fall_on_full_periods_from_the_second_one_on() {
        assert_eq!(next_poll(at(3_700), at(3_900), EVERY), at(10_000));
        assert_eq!(next_poll(at(10_004), at(10_090), EVERY), at(20_000));
    }

    #[test]
    fn a_timer_that_fires_early_does_not_poll_twice() {
        assert_eq!(next_poll(at(9_995), at(9_999), EVERY), at(20_000));
    }

    #[test]
    fn a_slow_answer_skips_only_the_periods_that_it_took() {
        assert_eq!(next_poll(at(10_000), at(19_000), EVERY), at(20_000));
        assert_eq!(next_poll(at(10_000), at(31_000), EVERY), at(40_000));
    }

    #[test]
    fn a_clock_that_is_set_back_does_not_stop_polling() {
        assert_eq!(next_poll(at(3_600_000), at(7_000), EVERY), at(10_000));
    }
}
