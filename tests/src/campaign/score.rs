//! What was right, how soon, and what was a false alarm.
//!
//! A finding is right if it has the fault's kind, names its input (where the kind is on an input) and
//! was found after the fault began. A false alarm is a finding of severity `plan` or above that was
//! found on a plant before anything was wrong with it. What an engine says beside the right word
//! while a fault stands is counted apart; a few kinds bring others along, by rights (`COMPANIONS`).
//! Shade of a plane that has had it from the first day is true.
//! Never in here: how it is told.

use super::kinds::{Deadline, KINDS, KindRow, Scope};
use super::run::Outcome;
use analysis::detect::{Kind, Severity};
use analysis::diagnose::Finding;
use analysis::reading::{Span, Time};
use std::collections::BTreeMap;

/// A kind and what it brings along by rights.
const COMPANIONS: &[(&str, &[&str])] = &[
    ("grid_trips_repeated", &["grid_trip"]),
    ("isolation_falling", &["isolation_low"]),
    ("limited", &["inverter_off"]),
    // What another array looks like until the first clear day is over.
    ("inputs_swapped", &["string_open", "current_low"]),
    ("string_count_differs", &["string_open"]),
];

/// One run of a fault, judged.
#[derive(Debug, Clone)]
pub struct Scored<'o> {
    /// The run.
    pub outcome: &'o Outcome,
    /// Its kind.
    pub row: &'static KindRow,
    /// The first finding that is right.
    pub right: Option<&'o Finding>,
    /// Whether it came in the time of the contract.
    pub in_time: bool,
    /// Hours of light and days from evident to found.
    pub delay: Option<(f64, f64)>,
    /// The first finding of any kind after it began.
    pub first: Option<&'o Finding>,
    /// Findings of severity `plan` or above since it began that are neither right nor companions.
    pub beside: Vec<&'o Finding>,
    /// What the finding says was lost, and what was [Wh].
    pub lost: Option<(f64, f64)>,
}

/// A false alarm.
#[derive(Debug, Clone)]
pub struct Alarm<'o> {
    /// On which run.
    pub outcome: &'o Outcome,
    /// What was said.
    pub finding: &'o Finding,
}

/// Stated confidence against how often it was right.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Reliability {
    /// Stated, from and below.
    pub stated: (f64, f64),
    /// Sum of what was stated.
    pub sum: f64,
    /// Findings.
    pub count: u32,
    /// Right ones.
    pub right: u32,
}

/// A campaign, judged.
#[derive(Debug, Clone)]
pub struct Score<'o> {
    /// By run with a fault.
    pub faults: Vec<Scored<'o>>,
    /// On healthy plants, and in the warm-up of others.
    pub alarms: [Vec<Alarm<'o>>; 2],
    /// Inverter-years that these were watched for.
    pub years: [f64; 2],
    /// By stated confidence.
    pub reliability: Vec<Reliability>,
    /// By kind.
    pub by_kind: BTreeMap<&'static str, Reliability>,
}

const YEAR_D: f64 = 365.25;
/// A slot must end and late readings may come: so much belongs to no fault of the engine.
const SLOT_AND_LATENESS: Span = Span::from_min(8);

/// Judges a campaign.
pub fn score(outcomes: &[Outcome]) -> Score<'_> {
    let mut score = Score {
        faults: Vec::new(),
        alarms: [Vec::new(), Vec::new()],
        years: [0.0; 2],
        reliability: [
            (0.0, 0.5),
            (0.5, 0.8),
            (0.8, 0.9),
            (0.9, 0.95),
            (0.95, 0.99),
            (0.99, 1.01),
        ]
        .map(|stated| Reliability {
            stated,
            sum: 0.0,
            count: 0,
            right: 0,
        })
        .to_vec(),
        by_kind: BTreeMap::new(),
    };
    for outcome in outcomes {
        let which = usize::from(outcome.fault.is_some());
        score.years[which] += outcome.healthy_days / YEAR_D;
        let alarms = outcome
            .findings
            .iter()
            .filter(|f| is_false_alarm(outcome, f));
        score.alarms[which].extend(alarms.map(|finding| Alarm { outcome, finding }));
        score.faults.extend(judge(outcome));
        for finding in outcome
            .findings
            .iter()
            .filter(|f| f.severity >= Severity::Plan)
        {
            let stated = finding.confidence;
            let of_kind = score.by_kind.entry(finding.kind.name());
            let of_kind = of_kind.or_insert(Reliability {
                stated: (0.0, 1.01),
                sum: 0.0,
                count: 0,
                right: 0,
            });
            let bins = score.reliability.iter_mut();
            let bins = bins.filter(|b| b.stated.0 <= stated && stated < b.stated.1);
            for bin in bins.chain([of_kind]) {
                bin.count += 1;
                bin.sum += stated;
                let right = [is_right, is_companion, is_of_the_place];
                bin.right += u32::from(right.iter().any(|is| is(outcome, finding)));
            }
        }
    }
    score
}

impl Score<'_> {
    /// Runs of a kind.
    pub fn of<'s>(&'s self, name: &'s str) -> impl Iterator<Item = &'s Scored<'s>> {
        self.faults.iter().filter(move |s| s.row.name == name)
    }

    /// Kinds that ran.
    pub fn kinds(&self) -> Vec<&'static KindRow> {
        KINDS
            .iter()
            .filter(|row| self.of(row.name).next().is_some())
            .collect()
    }

    /// First words by true kind.
    pub fn confusion(&self) -> BTreeMap<(&'static str, String), u32> {
        let mut counts = BTreeMap::new();
        for scored in &self.faults {
            let said = scored
                .first
                .map_or("nothing".to_owned(), |f| f.kind.name().to_owned());
            *counts.entry((scored.row.name, said)).or_insert(0) += 1;
        }
        counts
    }
}

fn begun(outcome: &Outcome, finding: &Finding) -> bool {
    outcome
        .fault
        .as_ref()
        .is_some_and(|f| finding.found >= f.began - SLOT_AND_LATENESS)
}

fn is_false_alarm(outcome: &Outcome, finding: &Finding) -> bool {
    finding.severity >= Severity::Plan
        && !begun(outcome, finding)
        && !is_of_the_place(outcome, finding)
}

/// Whether a finding names what the fault is on.
fn names_it(outcome: &Outcome, finding: &Finding) -> bool {
    let Some((fault, row)) = outcome
        .fault
        .as_ref()
        .and_then(|f| Some((f, super::kind_row(f.kind)?)))
    else {
        return false;
    };
    let said = finding.subject.input.map(|n| usize::from(n) - 1);
    let other = match fault.act {
        super::inject::Act::Swapped(other) => Some(other),
        _ => None,
    };
    row.on == Scope::Device || said == fault.input || (said.is_some() && said == other)
        // A plant of one input has no other that could be meant; swapping is told of the inverter.
        || (said.is_none() && fault.kind == "inputs_swapped")
}

fn is_right(outcome: &Outcome, finding: &Finding) -> bool {
    let kind = outcome.fault.as_ref().map(|f| f.kind);
    let said = finding.kind.name();
    // An inverter whose only input carries nothing does not produce: both words say it.
    let is_only = outcome.inputs == 1 && kind == Some("input_dead") && said == "inverter_off";
    begun(outcome, finding) && (is_only || (kind == Some(said) && names_it(outcome, finding)))
}

/// Shade by what stands before a plane from the first day is true, and told once.
fn is_of_the_place(outcome: &Outcome, finding: &Finding) -> bool {
    let input = finding.subject.input.map(|n| usize::from(n) - 1);
    finding.kind == Kind::Shade && input.is_some_and(|k| outcome.shaded[k])
}

fn is_companion(outcome: &Outcome, finding: &Finding) -> bool {
    let kind = outcome.fault.as_ref().map(|f| f.kind);
    let of = COMPANIONS.iter().find(|(name, _)| kind == Some(*name));
    begun(outcome, finding) && of.is_some_and(|(_, all)| all.contains(&finding.kind.name()))
}

fn judge(outcome: &Outcome) -> Option<Scored<'_>> {
    let fault = outcome.fault.as_ref()?;
    let row = super::kind_row(fault.kind)?;
    let since = || outcome.findings.iter().filter(|f| begun(outcome, f));
    let right = since().find(|f| is_right(outcome, f));
    let first = since().find(|f| row.on == Scope::Device || names_it(outcome, f));
    let beside = since().filter(|f| f.severity >= Severity::Plan);
    let beside = beside
        .filter(|f| !is_right(outcome, f) && !is_companion(outcome, f))
        .filter(|f| !is_of_the_place(outcome, f))
        .collect();
    let delay = right.map(|f| delay(outcome, fault.evident, f.found));
    Some(Scored {
        outcome,
        row,
        right,
        in_time: right.is_some_and(|f| in_time(outcome, row, fault.evident, f.found)),
        delay,
        first,
        beside,
        lost: right.and_then(|f| lost(outcome, f)),
    })
}

fn lit_hours(outcome: &Outcome, found: Time) -> f64 {
    let polls = outcome.lit.partition_point(|at| *at < found);
    polls as f64 * outcome.job.every.hours()
}

fn delay(outcome: &Outcome, evident: Time, found: Time) -> (f64, f64) {
    (
        lit_hours(outcome, found),
        ((found - evident).hours() / 24.0).max(0.0),
    )
}

fn in_time(outcome: &Outcome, row: &KindRow, evident: Time, found: Time) -> bool {
    let grace = SLOT_AND_LATENESS + outcome.job.every;
    match row.deadline {
        Deadline::LightMinutes(minutes) => {
            lit_hours(outcome, found) <= minutes / 60.0 + grace.hours()
        }
        Deadline::ClearDays(days) => {
            let passed = outcome.clear.partition_point(|at| *at + grace < found);
            passed as i64 <= days
        }
        Deadline::Days(days) => found - evident <= Span::from_h(24 * days) + grace,
        Deadline::Polls(polls) => found - evident <= outcome.job.every * polls + grace,
    }
}

/// What it and what it brings along say was lost, and what was lost until it ended; nothing where it was next to nothing.
fn lost(outcome: &Outcome, finding: &Finding) -> Option<(f64, f64)> {
    const LEAST_WH: f64 = 300.0;
    let until = finding.ended.unwrap_or(outcome.span.1);
    let passed = outcome.lost.partition_point(|(at, _)| *at <= until);
    let (_, truth) = *outcome.lost.get(passed.checked_sub(1)?)?;
    // Single trips keep what they cost: it is not told twice.
    let companions = outcome.findings.iter().filter(|f| is_companion(outcome, f));
    let said: f64 = companions.chain([finding]).map(|f| f.lost.wh()).sum();
    (truth > LEAST_WH).then_some((said, truth))
}
