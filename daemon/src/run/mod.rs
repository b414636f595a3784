//! The daemon at work: one task per device, one for time, one for each way out, one for the
//! page, one thread for analysis and the store, one for reports, with bounded queues between them.
//!
//! Queues: readings and ticks wait for the analysis (a full queue holds the pollers back, nothing
//! is dropped, and nothing that waits is overtaken by time); a report that is asked for while one
//! is being written is written once after it; what became of a delivery waits to be noted, and then
//! holds the next one back.
//! Shutdown: pollers, senders, the page and the ticker stop first, the analysis takes what has arrived and stores it,
//! the findings are written, then `run` returns. It does the same when the analysis gives up.
//! The supervisor hears of life from the analysis, after a step: that takes the runtime, the ticker, the
//! queue and the analysis itself.
//! Never in here: what a reading means.

mod poll;
mod tick;

use crate::alert::Sender;
use crate::clock::Clock;
use crate::desk::{Desk, DeskError};
use crate::latest::Latest;
use crate::source::Night;
use crate::source::modbus::Poller;
use crate::source::mqtt::Subscriber;
use crate::supervisor::{Heart, Supervisor};
use crate::web::Server;
use analysis::plant::GridSettings;
use analysis::reading::{DeviceId, Reading, Time};
use poll::poll;
use std::future::Future;
use std::sync::Arc;
use tick::{is_step, tick};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinSet;
use tracing::info;

/// Polls that may wait for the analysis.
const ARRIVALS_QUEUE: usize = 1024;
/// Most polls that one step takes.
const POLLS_PER_STEP: usize = 256;

/// What reaches the analysis: readings, or only the time.
struct Arrival {
    /// When it joined the queue. The watermark follows this, so that a backlog does not make what
    /// still waits look late.
    sent: Time,
    readings: Vec<Reading>,
    /// How the device says that it is set, and when that was read.
    settings: Option<(DeviceId, Time, GridSettings)>,
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
    supervisor: Supervisor,
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
    let heart = supervisor.heart();
    let analysis = tokio::task::spawn_blocking(move || analyse(desk, queue, clock, heart));
    supervisor.ready();
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
        };
        if arrivals.send(arrival).await.is_err() {
            return;
        }
    }
}

fn analyse(
    mut desk: Desk,
    mut queue: mpsc::Receiver<Arrival>,
    clock: Clock,
    mut heart: Heart,
) -> Result<(), DeskError> {
    let mut batch: Vec<Arrival> = Vec::new();
    let mut before: Option<Time> = None;
    while queue.blocking_recv_many(&mut batch, POLLS_PER_STEP) > 0 {
        // What comes after a step of the clock, a tick or a poll, is taken apart from what came before it.
        for step in batch.chunk_by(|one, next| !is_step(&clock, next.sent - one.sent)) {
            let (Some(first), Some(last)) = (step.first(), step.last()) else {
                continue;
            };
            if before.is_some_and(|before| is_step(&clock, first.sent - before)) {
                desk.resumed(first.sent);
            }
            before = Some(last.sent);
            let watermark = step.iter().fold(first.sent, |all, next| all.max(next.sent));
            for (device, at, settings) in step.iter().filter_map(|a| a.settings.as_ref()) {
                desk.settings(device, *at, settings);
            }
            let readings = step.iter().flat_map(|arrival| &arrival.readings);
            let readings: Vec<Reading> = readings.copied().collect();
            desk.take(&readings, watermark)?;
            heart.beat();
        }
        batch.clear();
    }
    desk.close()
}
