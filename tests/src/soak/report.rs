//! A soak in numbers, for people and for programs.
//! Never in here: what must come of it.

use super::Settings;
use super::judge::{DAYS_FOR_A_SLOPE, Growth, Judgement, MOST_GROWTH_MB_A_YEAR};
use super::plan::{Act, Plan};
use super::watched::{Sample, Watched};
use serde::Serialize;
use std::collections::BTreeMap;
use std::fmt::Write as _;
use std::time::Duration;

/// What one daemon needed.
#[derive(Debug, Serialize)]
pub struct Needed {
    /// Processes, one after the other.
    pub processes: usize,
    /// What the last of them needed.
    pub growth: Growth,
    /// Time on a core of all of them, as last seen [s].
    pub cpu_s: f64,
    /// Its store [MB].
    pub store_mb: f64,
    /// Pages that somebody has looked at.
    pub pages: usize,
    /// Lines of the log with ERROR, the same ones counted.
    pub errors: BTreeMap<String, usize>,
    /// Memory and handles, day by day.
    pub days: Vec<Sample>,
}

/// Everything.
#[derive(Debug, Serialize)]
pub struct Report {
    /// Days of the site, site seconds per second, seconds between polls, seed.
    pub days: i64,
    /// Site seconds per second.
    pub rate: f64,
    /// From one poll to the next, by the site's clock [s].
    pub every_s: u32,
    /// Of everything that was drawn.
    pub seed: u64,
    /// How long it took [s].
    pub lasted_s: f64,
    /// What was done how often.
    pub acts: BTreeMap<String, usize>,
    /// The daemon that was left alone, and the other one.
    pub needed: [Needed; 2],
    /// What came of it.
    pub judgement: Judgement,
}

impl Report {
    pub(super) fn new(
        settings: Settings,
        plan: &Plan,
        judgement: Judgement,
        daemons: [&Watched; 2],
        lasted: Duration,
    ) -> Self {
        let mut acts = BTreeMap::new();
        for (_, act) in &plan.acts {
            *acts.entry(name(*act)).or_default() += 1;
        }
        Self {
            days: settings.days,
            rate: settings.rate,
            every_s: settings.every_s,
            seed: settings.seed,
            lasted_s: lasted.as_secs_f64(),
            acts,
            needed: daemons.map(needed),
            judgement,
        }
    }

    /// For people.
    pub fn text(&self) -> String {
        let mut text = format!(
            "{} days of twenty inverters, seed {}, polled every {} s by a clock {} times as fast: {:.0} s\n",
            self.days, self.seed, self.every_s, self.rate, self.lasted_s
        );
        let judged = &self.judgement;
        let [faults, lost] = judged.planned;
        text += &format!("\nplanned: {faults} faults of the plant, {lost} lost links\ndone:");
        for (act, count) in &self.acts {
            text += &format!(" {act} {count},");
        }
        text.pop();
        text += "\n\nfindings by kind, of the daemon alone and of the other:\n";
        for (kind, [alone, other]) in &judged.findings {
            text += &format!("  {kind:<24} {alone:>4} {other:>4}\n");
        }
        for (which, name) in ["the daemon alone", "the other daemon"].iter().enumerate() {
            self.daemon(which, name, &mut text);
        }
        let [alone, other] = judged.lost_by_the_clock;
        text += &format!("\nlost links that nobody planned: {alone} and {other}\n");
        for of_days in &judged.by_days {
            text += &format!("  of whole days, {of_days}\n");
        }
        text += &format!(
            "the broker had to know {} findings at the end\n",
            judged.announced
        );
        text += match judged.wrong.len() {
            0 => "\nnothing lost, nothing doubled, everything told\n",
            _ => "\nWRONG:\n",
        };
        for wrong in &judged.wrong {
            text += &format!("  {wrong}\n");
        }
        text
    }

    fn daemon(&self, which: usize, name: &str, text: &mut String) {
        let (needed, judged) = (&self.needed[which], &self.judgement);
        let growth = needed.growth;
        writeln!(
            text,
            "\n{name}: {} processes, {:.0} s of a core, {} pages, store {:.1} MB with {} slots\n  \
             {} mails, {} arrivals more than needed\n  memory at most {:.0} MB, of the last process {:+.1} MB a \
             year over {:.0} days{}\n  handles {} first, {} last, {} at most",
            needed.processes,
            needed.cpu_s,
            needed.pages,
            needed.store_mb,
            judged.slots[which],
            judged.mails[which],
            judged.mails_again[which],
            growth.most_mb,
            growth.mb_a_year,
            growth.days,
            match growth.days >= DAYS_FOR_A_SLOPE {
                true => format!(" (at most {MOST_GROWTH_MB_A_YEAR:.0})"),
                false => " (too few to say anything)".to_owned(),
            },
            growth.handles_first,
            growth.handles_last,
            growth.handles_most,
        )
        .expect("memory takes it");
        for (line, count) in &needed.errors {
            text.push_str(&format!("  {count} x {line}\n"));
        }
    }
}

fn name(act: Act) -> String {
    match act {
        Act::Device(_, trouble) => format!("answers {trouble:?}"),
        Act::Moved(..) => "models moved".to_owned(),
        Act::DeviceRight(_) => "answers right".to_owned(),
        Act::Broker(there) => format!("broker {}", if there { "there" } else { "away" }),
        Act::Mail(mode) => format!("mail {mode}"),
        Act::MailServer(there) => format!("mail server {}", if there { "there" } else { "away" }),
        Act::Disk(takes) => format!("disk {}", if takes { "free" } else { "full" }),
        Act::Kill => "killed".to_owned(),
        Act::Terminate => "told to end".to_owned(),
        Act::Reload(true) => "reloaded".to_owned(),
        Act::Reload(false) => "reloaded with a wrong file".to_owned(),
    }
}

fn needed(daemon: &Watched) -> Needed {
    let mut cpu_s = BTreeMap::new();
    let mut days: Vec<Sample> = Vec::new();
    for sample in &daemon.samples {
        cpu_s.insert(sample.process, sample.cpu_s);
        if days.last().is_none_or(|last| sample.day - last.day >= 1.0) {
            days.push(*sample);
        }
    }
    let mut errors = BTreeMap::new();
    for line in &daemon.errors {
        // Without its time.
        let said = line
            .split_once("ERROR")
            .map_or(line.as_str(), |(_, said)| said);
        *errors.entry(said.trim().to_owned()).or_default() += 1;
    }
    let store = std::fs::metadata(daemon.store_file()).map_or(0, |file| file.len());
    Needed {
        processes: daemon.processes,
        growth: Growth::of(&daemon.samples),
        cpu_s: cpu_s.values().sum(),
        store_mb: store as f64 / 1e6,
        pages: daemon.pages,
        errors,
        days,
    }
}
