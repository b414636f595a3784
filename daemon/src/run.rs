//! The daemon at work: one task per device, one for time, one thread for analysis and the store,
//! one for reports, with bounded queues between them.
//!
//! Queues: readings and ticks wait for the analysis (a full queue holds the pollers back, nothing is
//! dropped); a report that is asked for while one is being written is written once after it.
//! Shutdown: pollers and the ticker stop first, the analysis takes what has arrived, the last report
//! is written, then `run` returns.
//! Never in here: what a reading means.

use crate::analyse::Analyst;
use crate::clock::Clock;
use crate::report;
use crate::source::modbus::Poller;
use analysis::reading::{Reading, Span, Time};
use std::future::Future;
use std::time::Duration;
use tokio::sync::{mpsc, watch};
use tracing::{error, info, warn};

/// Polls that may wait for the analysis.
const ARRIVALS_QUEUE: usize = 1024;
/// Most polls that one step takes.
const POLLS_PER_STEP: usize = 256;
/// How often the watermark moves without readings.
const TICK: Duration = Duration::from_secs(1);
/// How often the summary is redrawn, by the site's clock.
const REPORT_EVERY: Span = Span::from_min(15);

/// What reaches the analysis.
enum Arrival {
    Readings(Vec<Reading>),
    Tick,
}

/// Runs until `shutdown` is ready.
///
/// # Errors
/// If the last report cannot be written; earlier ones are logged and tried again.
pub async fn run(
    pollers: Vec<Poller>,
    analyst: Analyst,
    reports: report::Writer,
    clock: Clock,
    shutdown: impl Future<Output = ()>,
) -> Result<(), report::ReportError> {
    let (stop, stopped) = watch::channel(false);
    let (arrivals, queue) = mpsc::channel(ARRIVALS_QUEUE);
    let mut tasks: Vec<_> = pollers
        .into_iter()
        .map(|poller| tokio::spawn(poll(poller, clock, arrivals.clone(), stopped.clone())))
        .collect();
    tasks.push(tokio::spawn(tick(arrivals, stopped)));
    let analysis = tokio::task::spawn_blocking(move || {
        analyse(analyst, queue, clock, &reports);
        reports.finish()
    });
    shutdown.await;
    info!("stopping");
    // Nobody listens any more only if every task has ended by itself.
    let _ = stop.send(true);
    for task in tasks {
        task.await.expect("a poller does not panic");
    }
    analysis.await.expect("the analysis does not panic")
}

async fn poll(
    mut poller: Poller,
    clock: Clock,
    arrivals: mpsc::Sender<Arrival>,
    mut stopped: watch::Receiver<bool>,
) {
    let every = Span::from_ms(poller.settings().every.as_millis() as i64);
    let mut next = clock.now();
    loop {
        tokio::select! {
            _ = stopped.changed() => return,
            () = clock.sleep_until(next) => {}
        }
        let at = clock.now();
        let result = tokio::select! {
            _ = stopped.changed() => return,
            result = poller.poll(at) => result,
        };
        let wait = match result {
            Ok(readings) => {
                if arrivals.send(Arrival::Readings(readings)).await.is_err() {
                    return;
                }
                every
            }
            Err(failure) => {
                note_failure(&poller, &failure);
                Span::from_ms(failure.wait.as_millis() as i64)
            }
        };
        // Aligned to the clock, so that polls of all devices fall together.
        next = (clock.now() + wait).slot_start(every).max(at + every);
    }
}

/// Said when it starts to fail, not at every poll.
fn note_failure(poller: &Poller, failure: &crate::source::modbus::Failure) {
    if failure.attempt == 1 {
        let address = &poller.settings().address;
        warn!(%address, error = %failure.error, "poll failed; trying again, longer each time");
    }
}

async fn tick(arrivals: mpsc::Sender<Arrival>, mut stopped: watch::Receiver<bool>) {
    let mut interval = tokio::time::interval(TICK);
    loop {
        tokio::select! {
            _ = stopped.changed() => return,
            _ = interval.tick() => {}
        }
        if arrivals.send(Arrival::Tick).await.is_err() {
            return;
        }
    }
}

fn analyse(
    mut analyst: Analyst,
    mut queue: mpsc::Receiver<Arrival>,
    clock: Clock,
    reports: &report::Writer,
) {
    let mut last_report: Option<Time> = None;
    let mut refused = analyst.refused();
    let mut batch = Vec::new();
    while queue.blocking_recv_many(&mut batch, POLLS_PER_STEP) > 0 {
        let readings: Vec<Reading> = batch
            .drain(..)
            .flat_map(|arrival| match arrival {
                Arrival::Readings(readings) => readings,
                Arrival::Tick => Vec::new(),
            })
            .collect();
        let now = clock.now();
        let changed = analyst.take(&readings, now);
        if let Err(error) = analyst.save() {
            error!(%error, "not stored yet; kept in memory and tried again");
            continue;
        }
        for finding in &changed {
            info!("{}", reports.line(finding));
        }
        if analyst.refused() != refused {
            refused = analyst.refused();
            warn!(?refused, "readings that take no part in the analysis");
        }
        let due = last_report.is_none_or(|at| now - at >= REPORT_EVERY);
        if due || !changed.is_empty() {
            last_report = Some(now);
            reports.ask();
        }
    }
}
