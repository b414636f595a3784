//! Sentences in English: whether the plant does what it should, how long ago, what cannot be in a form.

use super::Unfit;
use crate::web::show;
use crate::web::texts::ENGLISH;
use crate::web::view::overview::{Overview, Verdict};
use analysis::detect::Severity;

pub fn ago(seconds: i64) -> String {
    match seconds {
        ..90 => format!("{seconds} s ago"),
        90..5400 => format!("{} min ago", (seconds + 30) / 60),
        5400..129_600 => format!("{} h ago", (seconds + 1800) / 3600),
        _ => format!("{} days ago", (seconds + 43_200) / 86_400),
    }
}

pub fn temperatures(coldest: &str, is_assumed: bool, hottest: &str) -> String {
    if is_assumed {
        format!(
            "From {coldest} °C, which is assumed, to {hottest} °C: give design_coldest_degc in [site]."
        )
    } else {
        format!("From {coldest} °C to {hottest} °C, from the site file.")
    }
}

pub fn sentence(o: &Overview) -> String {
    let t = &ENGLISH;
    let (measured, expected) = (
        show::energy(t, o.today.measured_wh),
        show::energy(t, o.today.expected_wh),
    );
    let share = show::percent(t, o.today.ratio);
    let so_far = match o.today.ratio {
        Some(_) => {
            format!("{measured} of the {expected} that the weather has given today ({share}).")
        }
        None => String::new(),
    };
    match o.verdict {
        Verdict::AsExpected => format!("Yes: {so_far}"),
        Verdict::Dark if so_far.is_empty() => {
            "Nothing is known to be wrong. No light has been seen yet today that it could be judged by.".to_owned()
        }
        Verdict::Dark => format!("Yes, and it is dark now: {so_far}"),
        Verdict::Waiting => {
            let urgent = o.snoozed.iter().filter(|f| f.severity == Severity::Now);
            let until = urgent.filter_map(|f| f.snoozed_until).min();
            let until = until.map_or_else(String::new, |at| show::local(t, at, o.timezone));
            format!("No: what stands is urgent now, and was put off until {until}. {so_far}")
        }
        Verdict::HeldBack => format!("As far as limits let it: {so_far}"),
        Verdict::NotRecorded => {
            "Not known: most of the light of today was not recorded.".to_owned()
        }
        Verdict::Low => format!("Not quite: only {so_far} Nothing has been found that says why."),
        Verdict::Unknown => {
            let silent = o.sources.iter().filter(|s| s.freshness.is_missed());
            let silent: Vec<&str> = silent.map(|s| s.device.as_str()).collect();
            let so_far = if so_far.is_empty() {
                String::new()
            } else {
                format!(" Heard so far: {so_far}")
            };
            format!("Not known: {} not heard.{so_far}", is_are(&silent))
        }
        Verdict::Attention => {
            let worst = o.findings.iter().map(|f| f.severity).max();
            let worst = urgency(worst.unwrap_or(Severity::Plan));
            match o.findings.len() {
                1 => format!("No: one thing wants a person {worst}. {so_far}"),
                n => format!("No: {n} things want a person, the first {worst}. {so_far}"),
            }
        }
    }
}

fn urgency(severity: Severity) -> &'static str {
    match severity {
        Severity::Note | Severity::Plan => "at the next visit",
        Severity::Soon => "within days",
        Severity::Now => "now",
    }
}

fn is_are(names: &[&str]) -> String {
    match names {
        [one] => format!("{one} is"),
        [all @ .., last] => format!("{} and {last} are", all.join(", ")),
        [] => "something is".to_owned(),
    }
}

pub fn unfit(what: &Unfit) -> String {
    match what {
        Unfit::Answer(found) => format!("found the answer {found:?}"),
        Unfit::LongText { most } => format!("a text of more than {most} characters"),
        Unfit::EmptyNote => "a note without a text".to_owned(),
        Unfit::NoDate => "found no date until which it may wait".to_owned(),
        Unfit::Past(date) => {
            let date = show::date(&ENGLISH, *date);
            format!("it cannot wait until {date}, which is past")
        }
        Unfit::TooFar { last, is_hazard } => {
            let last = show::date(&ENGLISH, *last);
            let why = if *is_hazard {
                "a hazard waits for a day at most"
            } else {
                "nothing waits for more than 31 days"
            };
            format!("it can wait until {last} and no longer: {why}")
        }
        Unfit::Name { most } => {
            format!("a name of more than {most} characters, or with control characters in it")
        }
        Unfit::Device(name) => format!("found no device {name:?}"),
        Unfit::EndsBefore => "it ends before it begins".to_owned(),
        Unfit::TooLong => "it lasts longer than a month".to_owned(),
        Unfit::Reason { most } => format!("a reason of 1 to {most} characters is wanted"),
        Unfit::Time(found) => format!("found the time {found:?}"),
        Unfit::NeverShown(time) => format!("the clock at the site never shows {time}"),
    }
}
