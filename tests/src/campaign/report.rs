//! The campaign in words and tables.
//! Never in here: verdicts on the engine; the numbers stand for themselves.

use super::crowd::Campaign;
use super::intervals::{poisson_95, share_95};
use super::kinds::{Deadline, KindRow};
use super::score::{Score, Scored};
use super::truth::Sensing;
use std::collections::BTreeMap;
use std::fmt::Write;

/// How it was run.
#[derive(Debug, Clone)]
pub struct Ran {
    /// The command.
    pub command: String,
    /// Threads.
    pub threads: usize,
    /// Cores of the machine.
    pub cores: usize,
    /// By the clock [s].
    pub seconds: f64,
}

/// The report as markdown.
pub fn markdown(score: &Score, campaign: &Campaign, ran: &Ran) -> String {
    let mut text = head(score, campaign, ran);
    alarms(&mut text, score);
    detection(&mut text, score);
    by_sensing(&mut text, score);
    confusion(&mut text, score);
    causes(&mut text, score);
    reliability(&mut text, score);
    lost(&mut text, score);
    text
}

fn head(score: &Score, campaign: &Campaign, ran: &Ran) -> String {
    format!(
        "# Fault campaign\n\n\
         `{}`\n\n\
         seed {}, {} plants for each kind, {} healthy plants of {} days, polls every {:.0} min, every \
         minute where a fault is in the supply; {} runs with a fault; {:.0} s on {} of {} cores.\n\n\
         The plants are drawn; none of them exists. The twin shares no model of light or arrays with \
         the program. Intervals are 95 %, exact (Garwood; Clopper and Pearson).\n\n\
         ![Detection](campaign.svg)\n\n",
        ran.command,
        campaign.seed,
        campaign.plants,
        campaign.healthy,
        campaign.days,
        campaign.every.seconds() / 60.0,
        score.faults.len(),
        ran.seconds,
        ran.threads,
        ran.cores,
    )
}

fn alarms(text: &mut String, score: &Score) {
    *text += "## False alarms\n\nFindings of severity plan or above while nothing was wrong; the \
              contract is 0.05 per inverter-year.\n\n\
              | set | inverter-years | alarms | per inverter-year | 95 % |\n|---|---|---|---|---|\n";
    let all = [score.alarms[0].len(), score.alarms[1].len()];
    let rows = [
        ("healthy plants", all[0], score.years[0]),
        ("before a fault began", all[1], score.years[1]),
        ("both", all[0] + all[1], score.years[0] + score.years[1]),
    ];
    for (set, count, years) in rows.into_iter().filter(|row| row.2 > 0.0) {
        let band = poisson_95(count as u32);
        let _ = writeln!(
            text,
            "| {set} | {years:.1} | {count} | {:.3} | {:.3} to {:.3} |",
            count as f64 / years,
            band.low / years,
            band.high / years
        );
    }
    let mut by_kind: BTreeMap<(&str, &str), u32> = BTreeMap::new();
    for alarm in score.alarms.iter().flatten() {
        let key = (alarm.finding.kind.name(), alarm.outcome.sensing.name());
        *by_kind.entry(key).or_insert(0) += 1;
    }
    *text += "\n| kind | plants with | alarms |\n|---|---|---|\n";
    for ((kind, sensing), count) in by_kind {
        let _ = writeln!(text, "| {kind} | {sensing} | {count} |");
    }
    *text += "\nEach of them is a line of false_alarms.csv.\n\n";
}

fn detection(text: &mut String, score: &Score) {
    *text += "## Detection\n\nRight kind, right input. Delays are of what was found, from when the \
              fault was as large as must be found: hours with light for a test, and days.\n\n\
              | kind | size | runs | found | 95 % | in time | light h, median (90 %) | days, median \
              (90 %) |\n|---|---|---|---|---|---|---|---|\n";
    for row in score.kinds() {
        let classes = if row.classes[0] == row.classes[2] {
            1
        } else {
            3
        };
        for class in 0..classes {
            let mine = |s: &&Scored| classes == 1 || s.outcome.job.class == class;
            let runs: Vec<&Scored> = score.of(row.name).filter(mine).collect();
            if !runs.is_empty() {
                detection_row(text, row, class, classes, &runs);
            }
        }
    }
    *text += "\nEach run is a line of runs.csv.\n\n";
}

fn detection_row(text: &mut String, row: &KindRow, class: usize, classes: usize, runs: &[&Scored]) {
    let n = runs.len() as u32;
    let found = runs.iter().filter(|s| s.right.is_some()).count() as u32;
    let in_time = runs.iter().filter(|s| s.in_time).count();
    let band = share_95(found, n);
    let (low, high) = row.classes[class];
    let size = if classes == 1 {
        "any".to_owned()
    } else {
        format!("{low} to {high} {}", row.unit)
    };
    let delays = |pick: fn(&(f64, f64)) -> f64| {
        let mut all: Vec<f64> = runs
            .iter()
            .filter_map(|s| s.delay.as_ref().map(pick))
            .collect();
        all.sort_by(f64::total_cmp);
        match (quantile(&all, 0.5), quantile(&all, 0.9)) {
            (Some(half), Some(most)) => format!("{half:.1} ({most:.1})"),
            _ => "-".to_owned(),
        }
    };
    let _ = writeln!(
        text,
        "| {} | {size} | {n} | {found} | {:.0} to {:.0} % | {in_time} within {} | {} | {} |",
        row.name,
        100.0 * band.low,
        100.0 * band.high,
        deadline(row),
        delays(|d| d.0),
        delays(|d| d.1),
    );
}

fn deadline(row: &KindRow) -> String {
    match row.deadline {
        Deadline::LightMinutes(minutes) => format!("{minutes} min of light"),
        Deadline::ClearDays(days) => format!("{days} clear d"),
        Deadline::Days(days) => format!("{days} d"),
        Deadline::Polls(polls) => format!("{polls} polls"),
    }
}

/// The value under which this share lies, of sorted values.
pub(super) fn quantile(sorted: &[f64], share: f64) -> Option<f64> {
    let last = sorted.len().checked_sub(1)?;
    sorted.get((share * last as f64).ceil() as usize).copied()
}

fn by_sensing(text: &mut String, score: &Score) {
    *text += "## Found, by what measures the weather\n\n| kind | plane sensor | GHI only | no sensor |\n\
              |---|---|---|---|\n";
    for row in score.kinds() {
        let cell = |sensing: Sensing| {
            let runs = || score.of(row.name).filter(|s| s.outcome.sensing == sensing);
            let (of, found) = (runs().count(), runs().filter(|s| s.right.is_some()).count());
            if of == 0 {
                "-".to_owned()
            } else {
                format!("{found} of {of}")
            }
        };
        let cells = [Sensing::Plane, Sensing::Horizontal, Sensing::Nothing].map(cell);
        let _ = writeln!(text, "| {} | {} |", row.name, cells.join(" | "));
    }
    *text += "\n";
}

fn confusion(text: &mut String, score: &Score) {
    *text += "## First word\n\nThe first finding, of any severity, that the engine said of the thing \
              with the fault. `beside`: findings of severity plan or above on the same plant after it \
              that are neither right nor brought along, for each run.\n\n| fault | first word | beside |\n\
              |---|---|---|\n";
    let confusion = score.confusion();
    for row in score.kinds() {
        let mut said: Vec<(&String, &u32)> = confusion
            .iter()
            .filter(|((kind, _), _)| *kind == row.name)
            .map(|((_, said), count)| (said, count))
            .collect();
        said.sort_by(|a, b| b.1.cmp(a.1).then(a.0.cmp(b.0)));
        let said: Vec<String> = said
            .iter()
            .map(|(said, count)| format!("{said} {count}"))
            .collect();
        let mut beside: BTreeMap<&str, u32> = BTreeMap::new();
        for finding in score.of(row.name).flat_map(|s| &s.beside) {
            *beside.entry(finding.kind.name()).or_insert(0) += 1;
        }
        let beside: Vec<String> = beside
            .iter()
            .map(|(kind, n)| format!("{kind} {n}"))
            .collect();
        let _ = writeln!(
            text,
            "| {} | {} | {} |",
            row.name,
            said.join(", "),
            beside.join(", ")
        );
    }
    *text += "\n";
}

fn causes(text: &mut String, score: &Score) {
    *text += "## Leading causes of right findings\n\n| kind | leading cause | times | mean probability |\n\
              |---|---|---|---|\n";
    let mut leading: BTreeMap<(&str, &str), (u32, f64)> = BTreeMap::new();
    for scored in &score.faults {
        if let Some(cause) = scored.right.and_then(|f| f.causes.first()) {
            let entry = leading
                .entry((scored.row.name, &cause.cause))
                .or_insert((0, 0.0));
            *entry = (entry.0 + 1, entry.1 + cause.probability);
        }
    }
    for ((kind, cause), (times, sum)) in leading {
        let _ = writeln!(
            text,
            "| {kind} | {cause} | {times} | {:.2} |",
            sum / f64::from(times)
        );
    }
    *text += "\n";
}

fn reliability(text: &mut String, score: &Score) {
    *text += "## Stated confidence against how often it was right\n\nFindings of severity plan or above, \
              of all runs. How many are right depends on \
              how many plants of the campaign have a fault, and on kinds that are told as another.\n\n\
              | stated | findings | mean stated | right | 95 % |\n|---|---|---|---|---|\n";
    for bin in score.reliability.iter().filter(|bin| bin.count > 0) {
        let band = share_95(bin.right, bin.count);
        let n = f64::from(bin.count);
        let _ = writeln!(
            text,
            "| {:.2} to {:.2} | {} | {:.3} | {:.3} | {:.3} to {:.3} |",
            bin.stated.0,
            bin.stated.1.min(1.0),
            bin.count,
            bin.sum / n,
            f64::from(bin.right) / n,
            band.low,
            band.high
        );
    }
    *text += "\n| kind | findings | mean stated | right | 95 % |\n|---|---|---|---|---|\n";
    for (kind, bin) in &score.by_kind {
        let band = share_95(bin.right, bin.count);
        let n = f64::from(bin.count);
        let _ = writeln!(
            text,
            "| {kind} | {} | {:.3} | {:.3} | {:.3} to {:.3} |",
            bin.count,
            bin.sum / n,
            f64::from(bin.right) / n,
            band.low,
            band.high
        );
    }
    *text += "\n";
}

fn lost(text: &mut String, score: &Score) {
    *text += "## Lost energy\n\nWhat a right finding says was lost over what the same plant with the same \
              seed and no fault gave more.\n\n| kind | findings | said over true, median | 10 % | 90 % |\n\
              |---|---|---|---|---|\n";
    for row in score.kinds() {
        let mut ratios: Vec<f64> = score
            .of(row.name)
            .filter_map(|s| s.lost)
            .map(|(said, truth)| said / truth)
            .collect();
        ratios.sort_by(f64::total_cmp);
        let at = |share| quantile(&ratios, share);
        if let (Some(low), Some(half), Some(high)) = (at(0.1), at(0.5), at(0.9)) {
            let count = ratios.len();
            let _ = writeln!(
                text,
                "| {} | {count} | {half:.2} | {low:.2} | {high:.2} |",
                row.name
            );
        }
    }
}
