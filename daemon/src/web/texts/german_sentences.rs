//! Sentences in German: whether the plant does what it should, how long ago, what cannot be in a form.

use super::Unfit;
use crate::web::show;
use crate::web::texts::GERMAN;
use crate::web::view::overview::{Overview, Verdict};
use analysis::detect::Severity;

pub fn ago(seconds: i64) -> String {
    match seconds {
        ..90 => format!("vor {seconds} s"),
        90..5400 => format!("vor {} min", (seconds + 30) / 60),
        5400..129_600 => format!("vor {} h", (seconds + 1800) / 3600),
        _ => format!("vor {} Tagen", (seconds + 43_200) / 86_400),
    }
}

pub fn late(count: usize) -> String {
    let was = match count {
        0 => return String::new(),
        1 => "Eine Mail, ein Aufruf oder eine Meldung wurde".to_owned(),
        n => format!("{n} Mails, Aufrufe oder Meldungen wurden"),
    };
    format!("{was} seit mehr als einem Tag nicht angenommen. Im Protokoll steht, warum.")
}

pub fn temperatures(coldest: &str, is_assumed: bool, hottest: &str) -> String {
    if is_assumed {
        format!(
            "Von {coldest} °C, was angenommen ist, bis {hottest} °C: geben Sie design_coldest_degc in [site] an."
        )
    } else {
        format!("Von {coldest} °C bis {hottest} °C, aus der Anlagendatei.")
    }
}

pub fn sentence(o: &Overview) -> String {
    let t = &GERMAN;
    let (measured, expected) = (
        show::energy(t, o.today.measured_wh),
        show::energy(t, o.today.expected_wh),
    );
    let share = show::percent(t, o.today.ratio);
    let so_far = match o.today.ratio {
        Some(_) => {
            format!("{measured} von den {expected}, die das Wetter heute hergegeben hat ({share}).")
        }
        None => String::new(),
    };
    match o.verdict {
        Verdict::AsExpected => format!("Ja: {so_far}"),
        Verdict::Dark if so_far.is_empty() => {
            "Es ist nichts bekannt, was falsch wäre. Heute ist noch kein Licht gesehen worden, an dem es sich messen ließe."
                .to_owned()
        }
        Verdict::Dark => format!("Ja, und jetzt ist es dunkel: {so_far}"),
        Verdict::Waiting => {
            let urgent = o.snoozed.iter().filter(|f| f.severity == Severity::Now);
            let until = urgent.filter_map(|f| f.snoozed_until).min();
            let until = until.map_or_else(String::new, |at| show::local(t, at, o.timezone));
            format!(
                "Nein: was ansteht, ist jetzt dringend und wurde bis {until} verschoben. {so_far}"
            )
        }
        Verdict::HeldBack => format!("Soweit es Grenzen zulassen: {so_far}"),
        Verdict::NotRecorded => {
            "Nicht bekannt: das meiste Licht von heute wurde nicht aufgezeichnet.".to_owned()
        }
        Verdict::Low => {
            format!("Nicht ganz: nur {so_far} Es ist nichts gefunden worden, was es erklärt.")
        }
        Verdict::Unknown => {
            let silent = o.sources.iter().filter(|s| s.freshness.is_missed());
            let silent: Vec<&str> = silent.map(|s| s.device.as_str()).collect();
            let so_far = if so_far.is_empty() {
                String::new()
            } else {
                format!(" Bisher gehört: {so_far}")
            };
            format!("Nicht bekannt: {}.{so_far}", silent_ones(&silent))
        }
        Verdict::Attention => {
            let worst = o.findings.iter().map(|f| f.severity).max();
            let worst = urgency(worst.unwrap_or(Severity::Plan));
            match o.findings.len() {
                1 => format!("Nein: eine Sache muss {worst} jemand ansehen. {so_far}"),
                n => format!("Nein: {n} Sachen muss jemand ansehen, die erste {worst}. {so_far}"),
            }
        }
    }
}

fn urgency(severity: Severity) -> &'static str {
    match severity {
        Severity::Note | Severity::Plan => "beim nächsten Besuch",
        Severity::Soon => "binnen Tagen",
        Severity::Now => "jetzt",
    }
}

fn silent_ones(names: &[&str]) -> String {
    match names {
        [one] => format!("{one} meldet sich nicht"),
        [all @ .., last] => format!("{} und {last} melden sich nicht", all.join(", ")),
        [] => "etwas meldet sich nicht".to_owned(),
    }
}

pub fn unfit(what: &Unfit) -> String {
    match what {
        Unfit::Answer(found) => format!("die Antwort {found:?}"),
        Unfit::LongText { most } => format!("ein Text von mehr als {most} Zeichen"),
        Unfit::EmptyNote => "eine Notiz ohne Text".to_owned(),
        Unfit::NoDate => "kein Datum, bis zu dem es warten darf".to_owned(),
        Unfit::Past(date) => {
            let date = show::date(&GERMAN, *date);
            format!("es kann nicht bis {date} warten, das ist vorbei")
        }
        Unfit::TooFar { last, is_hazard } => {
            let last = show::date(&GERMAN, *last);
            let why = if *is_hazard {
                "eine Gefahr wartet höchstens einen Tag"
            } else {
                "nichts wartet länger als 31 Tage"
            };
            format!("es kann bis {last} warten und nicht länger: {why}")
        }
        Unfit::Name { most } => {
            format!("ein Name von mehr als {most} Zeichen, oder einer mit Steuerzeichen")
        }
        Unfit::Device(name) => format!("kein Gerät {name:?}"),
        Unfit::EndsBefore => "es endet, bevor es beginnt".to_owned(),
        Unfit::TooLong => "es dauert länger als einen Monat".to_owned(),
        Unfit::Reason { most } => format!("verlangt ist ein Grund von 1 bis {most} Zeichen"),
        Unfit::Time(found) => format!("die Zeit {found:?}"),
        Unfit::NeverShown(time) => format!("die Uhr der Anlage zeigt nie {time}"),
    }
}
