//! The daemon at work: one task per device, one for time, one for each way out, one thread for analysis and
//! the store, one for reports, with bounded queues between them.
//!
//! Queues: readings and ticks wait for the analysis (a full queue holds the pollers back, nothing
//! is dropped, and nothing that waits is overtaken by time); a report that is asked for while one
//! is being written is written once after it; what became of a delivery waits to be noted, and then holds
//! the next one back.
//! Shutdown: pollers, senders, the page and the ticker stop first, the analysis takes what has arrived and stores it,
//! the last report is written, then `run` returns. It does the same when the analysis gives up.
//! Never in here: what a reading means.

use crate::alert::Sender;
use crate::clock::Clock;
use crate::desk::{Desk, DeskError};
use crate::latest::Latest;
use crate::source::Night;
use crate::source::modbus::{Failure, Poller, Trouble};
use crate::source::mqtt::Subscriber;
use crate::web::Server;
use analysis::plant::GridSettings;
use analysis::reading::{DeviceId, Reading, Span, Time};
use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tokio::time::MissedTickBehavior;
use tracing::{info, warn};

/// Polls that may wait for the analysis.
const ARRIVALS_QUEUE: usize = 1024;
/// Most polls that one step takes.
const POLLS_PER_STEP: usize = 256;
/// How often the watermark moves without readings.
const TICK: Duration = Duration::from_secs(1);

/// A step of the clock from tick to tick that is none [s]: forward as after a busy second, back as
/// when a time server corrects it.
const LONGEST_STEP_S: f64 = 10.0;
const LONGEST_STEP_BACK_S: f64 = 2.0;

/// What reaches the analysis: readings, or only the time.
struct Arrival {
    /// When it joined the queue. The watermark follows this, so that a backlog does not make what
    /// still waits look late.
    sent: Time,
    readings: Vec<Reading>,
    /// How the device says that it is set, and when that was read.
    settings: Option<(DeviceId, Time, GridSettings)>,
    /// Whether nobody looked for a while before it: the process was held, or the clock was set.
    resumed: bool,
}

/// Where readings come from.
pub struct Sources {
    /// Devices that are asked, and when they may be left alone.
    pub pollers: Vec<(Poller, Option<Night>)>,
    /// Brokers whose devices publish.
    pub subscribers: Vec<Subscriber>,
    /// Where what was heard last is kept for whoever looks.
    pub latest: Arc<Latest>,
}

/// How people and programs get to know.
pub struct Outlets {
    /// What empties the outbox, one for mails and one for each program that is told.
    pub senders: Vec<Sender>,
    /// The page, where there is one.
    pub page: Option<Server>,
}

/// Runs until `shutdown` is ready.
///
/// # Errors
/// If the store cannot be gone on with, or the last step or report cannot be written.
pub async fn run(
    sources: Sources,
    outlets: Outlets,
    desk: Desk,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), DeskError> {
    let (stop, stopped) = watch::channel(false);
    let (arrivals, queue) = mpsc::channel(ARRIVALS_QUEUE);
    let mut tasks = JoinSet::new();
    let latest = sources.latest;
    if let Some(page) = outlets.page {
        tasks.spawn(page.serve(stopped.clone()));
    }
    for sender in outlets.senders {
        tasks.spawn(send(sender, clock, stopped.clone()));
    }
    for subscriber in sources.subscribers {
        let (latest, arrivals) = (latest.clone(), arrivals.clone());
        tasks.spawn(listen(subscriber, latest, clock, arrivals, stopped.clone()));
    }
    for (poller, night) in sources.pollers {
        tasks.spawn(poll(
            poller,
            night,
            latest.clone(),
            clock,
            arrivals.clone(),
            stopped.clone(),
        ));
    }
    tasks.spawn(tick(clock, arrivals, stopped));
    let analysis = tokio::task::spawn_blocking(move || analyse(desk, queue));
    tokio::select! {
        () = shutdown => {}
        // By itself a task ends only when it panics, or when the analysis does not listen any more.
        Some(ended) = tasks.join_next() => ended.expect("a poller does not panic"),
    }
    info!("stopping");
    // Nobody listens any more only if every task has ended by itself.
    let _ = stop.send(true);
    while let Some(ended) = tasks.join_next().await {
        ended.expect("a poller does not panic");
    }
    analysis.await.expect("the analysis does not panic")
}

async fn send(sender: Sender, clock: Clock, mut stopped: watch::Receiver<bool>) {
    // What is half sent goes out again after the next start.
    tokio::select! {
        _ = stopped.changed() => {}
        () = sender.run(clock) => {}
    }
}

async fn listen(
    mut subscriber: Subscriber,
    latest: Arc<Latest>,
    clock: Clock,
    arrivals: mpsc::Sender<Arrival>,
    mut stopped: watch::Receiver<bool>,
) {
    loop {
        let readings = tokio::select! {
            _ = stopped.changed() => return,
            readings = subscriber.next(clock) => readings,
        };
        latest.published(clock.now(), &readings);
        let arrival = Arrival {
            sent: clock.now(),
            readings,
            settings: None,
            resumed: false,
        };
        if arrivals.send(arrival).await.is_err() {
            return;
        }
    }
}

async fn poll(
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
        tokio::select! {
            _ = stopped.changed() => return,
            () = clock.sleep_until(due) => {}
        }
        // What a neighbour on the same line takes is no part of the reading's time.
        let turn = clock.now();
        tokio::select! {
            _ = stopped.changed() => return,
            () = poller.ready() => {}
        }
        let at = clock.now();
        let result = tokio::select! {
            _ = stopped.changed() => return,
            result = poller.poll(at) => result,
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
                latest.answered(poller.name(), at, &readings);
                let settings = poller.take_settings();
                let arrival = Arrival {
                    sent,
                    readings,
                    settings: settings.map(|s| (poller.name().clone(), at, s)),
                    resumed: false,
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

async fn tick(clock: Clock, arrivals: mpsc::Sender<Arrival>, mut stopped: watch::Receiver<bool>) {
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
        let step_s = clock.real_seconds(sent - before);
        before = sent;
        let resumed = !(-LONGEST_STEP_BACK_S..LONGEST_STEP_S).contains(&step_s);
        if resumed {
            warn!(
                step_s,
                "the clock was set or the program was held; silence counts from here"
            );
        }
        let arrival = Arrival {
            sent,
            readings: Vec::new(),
            settings: None,
            resumed,
        };
        if arrivals.send(arrival).await.is_err() {
            return;
        }
    }
}

fn analyse(mut desk: Desk, mut queue: mpsc::Receiver<Arrival>) -> Result<(), DeskError> {
    let mut batch = Vec::new();
    while queue.blocking_recv_many(&mut batch, POLLS_PER_STEP) > 0 {
        // What comes after a step of the clock is taken apart from what came before it.
        let steps = batch.chunk_by(|_, next| !next.resumed);
        for step in steps {
            let Some(watermark) = step.iter().map(|arrival| arrival.sent).max() else {
                continue;
            };
            if step[0].resumed {
                desk.resumed(step[0].sent);
            }
            for (device, at, settings) in step.iter().filter_map(|a| a.settings.as_ref()) {
                desk.settings(device, *at, settings);
            }
            let readings: Vec<Reading> = step.iter().flat_map(|a| a.readings.clone()).collect();
            desk.take(&readings, watermark)?;
        }
        batch.clear();
    }
    desk.close()
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
