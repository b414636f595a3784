//! One plant, one run: warm-up, a fault or none, and everything that the engine said.
//! Never in here: whether that was right (`score`).

use super::draw::Draw;
use super::evident::once_evident;
use super::fault::{Fault, draw_fault};
use super::inject::Act;
use super::kinds::kind_row;
use super::plant_draw::{DrawnPlant, Options, draw_plant};
use super::sensors::{Publisher, stamp};
use super::truth::Sensing;
use super::twin::{Now, Twin};
use super::{Job, Regime};
use analysis::diagnose::Finding;
use analysis::engine::{Engine, Input, Output};
use analysis::reading::{Span, Time};
use std::collections::BTreeMap;

/// What a run gave.
#[derive(Debug, Clone)]
pub struct Outcome {
    /// What was to be run.
    pub job: Job,
    /// The seed of the plant that was taken.
    pub plant_seed: u64,
    /// In words.
    pub plant: String,
    /// What measures its weather.
    pub sensing: Sensing,
    /// Its inputs.
    pub inputs: usize,
    /// By input, whether something stands before its plane that shades it.
    pub shaded: Vec<bool>,
    /// What was wrong with it.
    pub fault: Option<Fault>,
    /// Everything that the engine said, as it said it last.
    pub findings: Vec<Finding>,
    /// Its first instant, and the first after its last.
    pub span: (Time, Time),
    /// Without a fault [d].
    pub healthy_days: f64,
    /// Polls with light for a test since the fault was evident.
    pub lit: Vec<Time>,
    /// Ends of clear days since then.
    pub clear: Vec<Time>,
    /// Energy that the fault has cost up to a time [Wh on the AC side].
    pub lost: Vec<(Time, f64)>,
}

/// What is seen of a run: a poll, and what the engine made of one of its readings or of its time.
pub type Show<'s> = &'s mut dyn FnMut(&Now, &Output);

/// Runs a job.
pub fn run(job: &Job) -> Outcome {
    let (drawn, fault) = draw(job);
    run_drawn(job, &drawn, fault, &mut |_, _| ())
}

/// Runs a plant of a job, and shows everything as it comes.
pub fn run_drawn(job: &Job, drawn: &DrawnPlant, fault: Option<Fault>, show: Show) -> Outcome {
    let days = fault
        .as_ref()
        .map_or(job.days, |fault| last_day(drawn, fault));
    let end = drawn.start + Span::from_h(24 * days);
    let mut outcome = Outcome {
        plant_seed: drawn.truth.seed,
        plant: words(drawn),
        sensing: drawn.sensing,
        inputs: drawn.truth.inputs.len(),
        shaded: shaded(drawn),
        findings: Vec::new(),
        span: (drawn.start, end),
        healthy_days: 0.0,
        lit: Vec::new(),
        clear: Vec::new(),
        lost: Vec::new(),
        job: *job,
        fault,
    };
    watch(drawn, &mut outcome, show);
    outcome
}

/// The plant and the fault; plants that cannot have the fault, or never show it, are passed over.
pub fn draw(job: &Job) -> (DrawnPlant, Option<Fault>) {
    const MOST_PLANTS: u64 = 200;
    let options = |least| Options {
        every: job.every,
        least,
    };
    let Some(kind) = job.kind else {
        return (draw_plant(job.seed, options((1, 1))), None);
    };
    let row = kind_row(kind).expect("jobs are made from the table");
    let least = match kind {
        "string_open" => (1, 2),
        "inputs_swapped" => (2, 1),
        _ => (1, 1),
    };
    for attempt in 0..MOST_PLANTS {
        let seed = Draw::new(job.seed, 100 + attempt).bits();
        let drawn = draw_plant(seed, options(least));
        let mut draw = Draw::new(seed, 2);
        let first_day = draw.whole(18, 40);
        let fault = draw_fault(row, job.class, &drawn, &mut draw, first_day);
        if let Some(fault) = fault.and_then(|fault| once_evident(&drawn, fault, job.every)) {
            return (drawn, Some(fault));
        }
    }
    panic!(
        "no plant of {MOST_PLANTS} can have {kind} of class {}",
        job.class
    )
}

fn last_day(drawn: &DrawnPlant, fault: &Fault) -> i64 {
    let row = kind_row(fault.kind).expect("faults are drawn from the table");
    let evident = ((fault.evident - drawn.start).hours() / 24.0).ceil() as i64;
    let until = fault.until.unwrap_or(fault.evident);
    let over = ((until - drawn.start).hours() / 24.0).ceil() as i64 + 2;
    (evident + row.watch_days).max(over)
}

fn watch(drawn: &DrawnPlant, outcome: &mut Outcome, show: Show) {
    let mut engine = Engine::new(drawn.plant.clone()).expect("drawn plants can be modelled");
    let mut twin = Twin::new(drawn, outcome.fault.clone());
    let mut healthy: Option<Twin> = None;
    let mut publisher = Publisher::new(drawn);
    let mut told: BTreeMap<String, Finding> = BTreeMap::new();
    let mut take = |now: &Now, output: Output| {
        show(now, &output);
        for finding in output.findings {
            told.insert(finding.id.to_string(), finding);
        }
    };
    let costs = outcome.fault.as_ref().is_some_and(|f| costs_energy(&f.act));
    let (mut at, end) = outcome.span;
    let mut last_stamp = at - Span::from_h(24);
    let mut lost_wh = 0.0;
    while at < end {
        let has_begun = outcome.fault.as_ref().is_some_and(|f| f.began <= at);
        if has_begun && costs && healthy.is_none() {
            healthy = Some(twin.without_fault());
        }
        let now = twin.poll(at);
        if let Some(healthy) = &mut healthy {
            let missed_w = healthy.poll(at).work.ac_w - now.work.ac_w;
            lost_wh += missed_w * outcome.job.every.hours();
            outcome.lost.push((at, lost_wh));
        }
        note(outcome, &now, &twin, drawn);
        let stamp = stamp(at, &twin);
        if stamp < last_stamp {
            take(&now, engine.step(Input::Resumed(stamp)));
        }
        last_stamp = stamp;
        for reading in publisher.publish(&now, &twin, stamp) {
            take(&now, engine.step(Input::Reading(reading)));
        }
        take(&now, engine.step(Input::Tick(stamp)));
        at = at + outcome.job.every;
    }
    let from = outcome.fault.as_ref().map_or(end, |f| f.began.min(end));
    outcome.healthy_days = (from - outcome.span.0).hours() / 24.0;
    for finding in engine.standing() {
        told.insert(finding.id.to_string(), finding.clone());
    }
    outcome.findings = told.into_values().collect();
    outcome.findings.sort_by_key(|f| (f.found, f.id.clone()));
}

fn shaded(drawn: &DrawnPlant) -> Vec<bool> {
    let has_object = |plane: usize| drawn.truth.planes[plane].object.is_some();
    let inputs = drawn.truth.inputs.iter();
    inputs
        .map(|input| input.strings.iter().any(|s| has_object(s.plane)))
        .collect()
}

/// Whether what is lost can be told from the same plant without it.
fn costs_energy(act: &Act) -> bool {
    let measuring = matches!(
        act,
        Act::Silent | Act::Frozen(_) | Act::Shows(_) | Act::Clock(_) | Act::Sensor(_)
    );
    let wiring = matches!(act, Act::Swapped(_) | Act::MoreStrings(_));
    let told = matches!(act, Act::Bit(_) | Act::Leaks(_) | Act::IsolationFalls(_));
    let supply = matches!(act, Act::Rises(_) | Act::Joint(_));
    !(measuring || wiring || told || supply)
}

/// Light and clear days since the fault was evident.
fn note(outcome: &mut Outcome, now: &Now, twin: &Twin, drawn: &DrawnPlant) {
    let Some(fault) = outcome.fault.as_ref().filter(|f| f.evident <= now.at) else {
        return;
    };
    if has_test_light(now, fault.input.unwrap_or(0), drawn) {
        outcome.lit.push(now.at);
    }
    let hours = (now.at - drawn.start).hours();
    let is_last_poll = hours.rem_euclid(24.0) + outcome.job.every.hours() >= 24.0 - 1e-9;
    let day = hours.div_euclid(24.0) as i64;
    let whole = (fault.evident - drawn.start).hours() <= 24.0 * day as f64 + 8.0;
    if is_last_poll && whole && twin.regime(day) == Regime::Clear {
        outcome.clear.push(now.at);
    }
}

/// Whether an input has light enough for a test.
pub(super) fn has_test_light(now: &Now, k: usize, drawn: &DrawnPlant) -> bool {
    const LIT: (f64, f64) = (100.0, 8.0);
    let poa = now.poa_w_m2[drawn.truth.inputs[k].strings[0].plane];
    poa >= LIT.0 && now.elevation_deg >= LIT.1
}

fn words(drawn: &DrawnPlant) -> String {
    let inverter = &drawn.plant.inverters[0];
    let strings: Vec<String> = inverter
        .inputs
        .iter()
        .map(|i| {
            format!(
                "{}x{}@{}",
                i.strings.len(),
                i.strings[0].count,
                i.plane() + 1
            )
        })
        .collect();
    let planes: Vec<String> = drawn
        .plant
        .planes
        .iter()
        .zip(&drawn.truth.planes)
        .map(|(p, truth)| {
            let object = truth.object.map_or("", |_| " shaded");
            format!("{:.0}/{:.0}{object}", p.tilt.deg(), p.azimuth.deg())
        })
        .collect();
    format!(
        "lat {:.1}, {}, planes {}, inputs {}, {:.1} kW",
        drawn.truth.latitude_deg,
        drawn.sensing.name(),
        planes.join(" "),
        strings.join(" "),
        inverter.rated_ac.w() / 1000.0
    )
}
