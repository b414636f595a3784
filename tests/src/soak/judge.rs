//! What must come of a soak: each finding once, each mail arrived, sound stores, nothing that grows.
//! Never in here: how it was done.

use super::plan::{Fault, Plan};
use super::watched::{Sample, Watched};
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Finding;
use analysis::reading::{Span, Time};
use daemon::store::{Target, verify};
use serde::Serialize;
use std::collections::{BTreeMap, BTreeSet};

/// Two daemons that see the same begin alike, but for what a missed poll and a start cost.
const SAME_BEGIN: Span = Span::from_h(3);
/// How much memory may grow in a year of the site, as the last process shows it [MB].
pub const MOST_GROWTH_MB_A_YEAR: f64 = 64.0;
/// Days from which on a slope says something.
pub const DAYS_FOR_A_SLOPE: f64 = 20.0;
/// Handles that may be open at the end beside those soon after the start: connections that are just
/// made anew.
const MOST_MORE_HANDLES: i64 = 3;

/// What was counted, and everything that is wrong.
#[derive(Debug, Default, Serialize)]
pub struct Judgement {
    /// Each in a sentence; none where all is well.
    pub wrong: Vec<String>,
    /// Findings of each kind: by the daemon that was left alone, and by the other.
    pub findings: BTreeMap<String, [usize; 2]>,
    /// Of the plan: faults, and lost links.
    pub planned: [usize; 2],
    /// Lost links that nobody planned, of each daemon.
    pub lost_by_the_clock: [usize; 2],
    /// Findings of whole days that only one of them has.
    pub by_days: Vec<String>,
    /// Mails that were made by each daemon, and that arrived once more than needed.
    pub mails: [usize; 2],
    /// Repeated arrivals.
    pub mails_again: [usize; 2],
    /// Announcements that the broker had to know at the end.
    pub announced: usize,
    /// Slots in each store.
    pub slots: [u64; 2],
}

impl Judgement {
    /// Judges findings by the plan and by each other.
    pub fn findings(&mut self, plan: &Plan, alone: &Watched, other: &Watched) {
        let [alone, other] = [alone, other].map(|w| w.store().findings().expect("reads"));
        self.planned = [plan.faults.len(), plan.lost.len()];
        for (which, findings) in [&alone, &other].into_iter().enumerate() {
            for finding in findings {
                let kind = finding.kind.name().to_owned();
                self.findings.entry(kind).or_default()[which] += 1;
            }
            self.wrong.extend(doubled(findings));
            for fault in &plan.faults {
                let of = findings.iter().filter(|f| is_of(f, fault)).count();
                if of != 1 {
                    let who = ["the daemon alone", "the other daemon"][which];
                    self.wrong
                        .push(format!("{who}: {of} findings of {fault:?}"));
                }
            }
        }
        self.pairs(plan, &alone, &other);
        self.lost_links(plan, &alone, &other);
    }

    /// What single polls and minutes decide stands in both, once. Of what whole days decide, only the
    /// differences are told: a day on which polls are missing says less.
    fn pairs(&mut self, plan: &Plan, alone: &[Finding], other: &[Finding]) {
        let counts = |f: &&Finding| f.severity > Severity::Note && f.kind != Kind::LinkLost;
        let by_polls = |f: &Finding| plan.faults.iter().any(|fault| fault.kind == f.kind);
        let mut left: Vec<&Finding> = other.iter().filter(counts).collect();
        let mut differences = Vec::new();
        for finding in alone.iter().filter(counts) {
            let same = |f: &&Finding| {
                let begin = (f.began - finding.began).ms().abs() <= SAME_BEGIN.ms();
                begin && f.kind == finding.kind && f.subject == finding.subject
            };
            match left.iter().position(same) {
                Some(at) => {
                    let found = left.swap_remove(at);
                    if found.ended.is_some() != finding.ended.is_some() {
                        differences.push(("ended for one daemon alone", finding));
                    }
                }
                None => differences.push(("lost", finding)),
            }
        }
        differences.extend(left.into_iter().map(|f| ("too many", f)));
        for (what, finding) in differences {
            let told = format!("{what}: {}", line(finding));
            match by_polls(finding) {
                true => self.wrong.push(told),
                false => self.by_days.push(told),
            }
        }
    }

    /// Each inverter that was out of reach is a lost link. Others are counted: three polls of this clock are
    /// less than a second, and a start or a machine that is busy takes longer.
    fn lost_links(&mut self, plan: &Plan, alone: &[Finding], other: &[Finding]) {
        let of = |findings: &'_ [Finding]| {
            let lost = findings.iter().filter(|f| f.kind == Kind::LinkLost);
            lost.cloned().collect::<Vec<_>>()
        };
        let mut left = of(other);
        for (inverter, period) in &plan.lost {
            let device = format!("inv-{}", inverter + 1);
            let is_of = |f: &Finding| {
                let ended_before = f.ended.is_some_and(|end| end <= period.from);
                f.subject.device.as_str() == device && f.began < period.to && !ended_before
            };
            let before = left.len();
            let all_ended = left.iter().filter(|f| is_of(f)).all(|f| f.ended.is_some());
            left.retain(|f| !is_of(f));
            if left.len() == before || !all_ended {
                let what = format!("no lost link of {device} at {period:?} that ended");
                self.wrong.push(what);
            }
        }
        self.lost_by_the_clock = [of(alone).len(), left.len()];
    }

    /// Judges the mails that have arrived at a daemon's server.
    pub fn mails(&mut self, which: usize, daemon: &Watched, arrived: &[serde_json::Value]) {
        let id =
            |mail: &serde_json::Value| mail["headers"]["message-id"].as_str().map(str::to_owned);
        let mut times: BTreeMap<String, usize> = BTreeMap::new();
        for mail in arrived {
            *times.entry(id(mail).unwrap_or_default()).or_default() += 1;
        }
        let store = daemon.store();
        let from = Time::from_unix_ms(0);
        let made = store.mails_in_question(from).expect("reads");
        let mut told = BTreeSet::new();
        for mail in made {
            self.mails[which] += 1;
            let came = times.remove(&mail.made.stable_id).unwrap_or(0);
            self.mails_again[which] += came.saturating_sub(1);
            if came == 0 || mail.sent.is_none() {
                self.wrong
                    .push(format!("a mail that has not arrived: {mail:?}"));
            }
            if mail.made.target == Target::Mail(super::site::SERVICE.to_owned()) {
                told.extend(mail.made.news);
            }
        }
        let strange = times
            .keys()
            .map(|id| format!("a mail that nobody has made: {id}"));
        self.wrong.extend(strange);
        let news = store.news_in_question(from).expect("reads");
        for finding in store.findings().expect("reads") {
            let worth_it = finding.severity > Severity::Note && finding.kind != Kind::LinkLost;
            let is_told = news
                .iter()
                .any(|n| n.finding == finding.id && told.contains(&n.id));
            if worth_it && !is_told {
                self.wrong
                    .push(format!("nobody was told of {}", line(&finding)));
            }
        }
    }

    /// Judges the store's file.
    pub fn store(&mut self, which: usize, daemon: &Watched) {
        let verified = verify(&daemon.store_file(), &mut |_| ()).expect("it can be read");
        self.slots[which] = verified.slots;
        self.wrong.extend(verified.problems);
    }

    /// Judges what the last process of a daemon needed, day by day.
    pub fn process(&mut self, name: &str, daemon: &Watched) {
        let growth = Growth::of(&daemon.samples);
        let (first, last) = (growth.handles_first, growth.handles_last);
        if last > first + MOST_MORE_HANDLES {
            self.wrong
                .push(format!("{name}: {first} handles first, {last} last"));
        }
        if growth.days >= DAYS_FOR_A_SLOPE && growth.mb_a_year > MOST_GROWTH_MB_A_YEAR {
            let (mb, days) = (growth.mb_a_year, growth.days);
            self.wrong.push(format!(
                "{name}: grows by {mb:.1} MB a year, over {days:.1} days"
            ));
        }
        let wrong_code = daemon.codes.iter().filter(|code| **code != Some(0));
        self.wrong
            .extend(wrong_code.map(|code| format!("{name}: ended with {code:?}")));
    }
}

/// What the last process of a daemon has needed.
#[derive(Debug, Clone, Copy, Serialize)]
pub struct Growth {
    /// Days of the site over which the slope was taken.
    pub days: f64,
    /// Of the medians of each day, the median of all slopes between two of them (Theil and Sen).
    pub mb_a_year: f64,
    /// Most memory of all processes [MB].
    pub most_mb: f64,
    /// Handles: medians of the first and last tenth.
    pub handles_first: i64,
    /// The last.
    pub handles_last: i64,
    /// Most of all processes.
    pub handles_most: usize,
}

impl Growth {
    /// Of the second half of the time of the last process: the first half is for warming up, which a
    /// plant that learns for a month takes days for.
    pub fn of(samples: &[Sample]) -> Self {
        let last = samples.iter().map(|s| s.process).max().unwrap_or(0);
        let of_last: Vec<&Sample> = samples.iter().filter(|s| s.process == last).collect();
        let tenth = of_last.len().div_ceil(10);
        let handles = |of: &[&Sample]| median(of.iter().map(|s| s.handles as f64).collect()) as i64;
        let second = &of_last[of_last.len() / 2..];
        let mut by_day: BTreeMap<i64, Vec<f64>> = BTreeMap::new();
        for sample in second {
            by_day
                .entry(sample.day as i64)
                .or_default()
                .push(sample.memory_mb);
        }
        let days: Vec<(f64, f64)> = by_day
            .into_iter()
            .map(|(d, mb)| (d as f64, median(mb)))
            .collect();
        let slopes = (0..days.len()).flat_map(|i| (0..i).map(move |k| (k, i)));
        let slopes = slopes.map(|(k, i)| (days[i].1 - days[k].1) / (days[i].0 - days[k].0));
        Self {
            days: days.len() as f64,
            mb_a_year: 365.25 * median(slopes.collect()),
            most_mb: samples.iter().map(|s| s.memory_mb).fold(0.0, f64::max),
            handles_first: handles(&of_last[..tenth]),
            handles_last: handles(&of_last[of_last.len() - tenth..]),
            handles_most: samples.iter().map(|s| s.handles).max().unwrap_or(0),
        }
    }
}

fn median(mut of: Vec<f64>) -> f64 {
    of.sort_by(f64::total_cmp);
    of.get(of.len() / 2).copied().unwrap_or(0.0)
}

fn is_of(finding: &Finding, fault: &Fault) -> bool {
    let device = format!("inv-{}", fault.at.0 + 1);
    let (from, to) = (fault.period.from - SAME_BEGIN, fault.period.to);
    let is_there = finding.subject.device.as_str() == device && finding.subject.input == fault.at.1;
    is_there && finding.kind == fault.kind && (from..to).contains(&finding.began)
}

/// Findings of one kind on one subject that stand at the same time.
fn doubled(findings: &[Finding]) -> Vec<String> {
    let mut doubled = Vec::new();
    for (i, one) in findings.iter().enumerate() {
        for two in &findings[..i] {
            let is_over = |a: &Finding, b: &Finding| a.ended.is_some_and(|end| end <= b.began);
            let same = one.kind == two.kind && one.subject == two.subject;
            if same && !is_over(one, two) && !is_over(two, one) {
                doubled.push(format!("doubled: {}, {}", line(one), line(two)));
            }
        }
    }
    doubled
}

fn line(finding: &Finding) -> String {
    let time = |at| daemon::text::utc(at).unwrap_or_default();
    let ended = finding.ended.map_or_else(|| "stands".to_owned(), time);
    let found = time(finding.found);
    format!("{} found {found}, {ended}: {}", finding.id, finding.summary)
}
