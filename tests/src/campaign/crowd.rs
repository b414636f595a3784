//! The jobs of a campaign, run on all cores with the same outcome on any number of them.
//! Never in here: what a job does.

use super::draw::Draw;
use super::kinds::KINDS;
use super::run::{Outcome, run};
use analysis::reading::Span;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};

/// What a campaign runs.
#[derive(Debug, Clone)]
pub struct Campaign {
    /// Of everything.
    pub seed: u64,
    /// Plants for each kind, in turn of the three classes of size.
    pub plants: usize,
    /// Plants without a fault.
    pub healthy: usize,
    /// How long those run [d].
    pub days: i64,
    /// From one poll to the next.
    pub every: Span,
    /// One kind alone, or `healthy`.
    pub only: Option<&'static str>,
    /// Whether faults that need years run too.
    pub years: bool,
    /// Numbers of the runs that are wanted, as files name them; all where there is none.
    pub runs: Vec<usize>,
}

/// One run.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Job {
    /// In the order of the campaign.
    pub index: usize,
    /// Of its plants.
    pub seed: u64,
    /// Which fault; none on a healthy plant.
    pub kind: Option<&'static str>,
    /// Its class of size.
    pub class: usize,
    /// How long a healthy plant runs [d].
    pub days: i64,
    /// From one poll to the next.
    pub every: Span,
}

/// A year of a plant takes longest: these go first.
pub fn healthy_jobs(campaign: &Campaign) -> Vec<Job> {
    let job = |n: usize| Job {
        index: 0,
        seed: Draw::new(campaign.seed, n as u64).bits(),
        kind: None,
        class: 0,
        days: campaign.days,
        every: campaign.every,
    };
    (0..campaign.healthy).map(job).collect()
}

impl Campaign {
    /// Its jobs.
    pub fn jobs(&self) -> Vec<Job> {
        /// A fault that needs longer than this runs on request only [d].
        const LONG_D: i64 = 100;
        let wanted = |name: &str| self.only.is_none_or(|only| only == name);
        let mut jobs = if wanted("healthy") {
            healthy_jobs(self)
        } else {
            Vec::new()
        };
        for (k, row) in KINDS.iter().enumerate() {
            if !wanted(row.name) || (row.watch_days > LONG_D && !self.years) {
                continue;
            }
            jobs.extend((0..self.plants).map(|n| Job {
                index: 0,
                seed: Draw::new(self.seed, ((k as u64 + 1) << 32) + n as u64).bits(),
                kind: Some(row.name),
                class: n % row.classes.len(),
                days: self.days,
                every: row.polled(self.every),
            }));
        }
        let numbered = jobs.into_iter().enumerate();
        let is_wanted = |job: &Job| self.runs.is_empty() || self.runs.contains(&job.index);
        let numbered = numbered.map(|(index, job)| Job { index, ..job });
        numbered.filter(is_wanted).collect()
    }
}

/// Runs jobs on so many threads; outcomes in the order of the jobs. `told` hears how many are done.
pub fn run_all(jobs: &[Job], threads: usize, told: impl Fn(usize) + Sync) -> Vec<Outcome> {
    let (next, done) = (AtomicUsize::new(0), AtomicUsize::new(0));
    let outcomes: Mutex<Vec<Outcome>> = Mutex::new(Vec::with_capacity(jobs.len()));
    std::thread::scope(|scope| {
        for _ in 0..threads.max(1) {
            scope.spawn(|| {
                while let Some(job) = jobs.get(next.fetch_add(1, Ordering::Relaxed)) {
                    let outcome = run(job);
                    outcomes
                        .lock()
                        .expect("no thread panics with the lock")
                        .push(outcome);
                    told(done.fetch_add(1, Ordering::Relaxed) + 1);
                }
            });
        }
    });
    let mut outcomes = outcomes.into_inner().expect("all threads have ended");
    outcomes.sort_by_key(|outcome| outcome.job.index);
    outcomes
}
