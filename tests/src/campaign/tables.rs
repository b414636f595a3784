//! Every run and every false alarm as a line, for a closer look at one of them.
//! Never in here: sums.

use super::score::Score;
use analysis::diagnose::Finding;
use analysis::reading::Time;

/// What a finding rests on, for people who look for the reason.
fn evidence(finding: &Finding) -> String {
    let of = finding.evidence.iter();
    of.map(|(name, value)| format!("{name}={value:.4}"))
        .collect::<Vec<_>>()
        .join(" ")
}

fn days(from: Time, to: Time) -> f64 {
    (to - from).hours() / 24.0
}

/// One line for each false alarm.
pub fn false_alarm_lines(score: &Score) -> String {
    let mut text = String::from(
        "run,plant_seed,set,kind,severity,input,confidence,began_day,found_day,ended_day,plant,evidence\n",
    );
    for (set, alarms) in ["healthy", "warm-up"].iter().zip(&score.alarms) {
        for alarm in alarms {
            let (f, of) = (alarm.finding, alarm.outcome);
            let start = of.span.0;
            text += &format!(
                "{},{},{set},{},{:?},{},{:.3},{:.3},{:.3},{},\"{}\",\"{}\"\n",
                of.job.index,
                of.plant_seed,
                f.kind.name(),
                f.severity,
                f.subject.input.map_or("-".to_owned(), |n| n.to_string()),
                f.confidence,
                days(start, f.began),
                days(start, f.found),
                f.ended
                    .map_or("-".to_owned(), |ended| format!("{:.3}", days(start, ended))),
                of.plant,
                evidence(f),
            );
        }
    }
    text
}

/// One line for each run with a fault.
pub fn run_lines(score: &Score) -> String {
    let mut text = String::from(
        "run,plant_seed,kind,class,size,input,evident_day,found,in_time,light_h,days,first_word,beside,\
         said_wh,lost_wh,plant\n",
    );
    for scored in &score.faults {
        let of = scored.outcome;
        let Some(fault) = &of.fault else { continue };
        let beside: Vec<&str> = scored.beside.iter().map(|f| f.kind.name()).collect();
        let number = |value: Option<f64>| value.map_or("-".to_owned(), |v| format!("{v:.2}"));
        text += &format!(
            "{},{},{},{},{:.4},{},{:.2},{},{},{},{},{},{},{},{},\"{}\"\n",
            of.job.index,
            of.plant_seed,
            fault.kind,
            fault.class,
            fault.size,
            fault.input.map_or("-".to_owned(), |k| (k + 1).to_string()),
            days(of.span.0, fault.evident),
            u8::from(scored.right.is_some()),
            u8::from(scored.in_time),
            number(scored.delay.map(|d| d.0)),
            number(scored.delay.map(|d| d.1)),
            scored.first.map_or("nothing", |f| f.kind.name()),
            beside.join(" "),
            number(scored.lost.map(|l| l.0)),
            number(scored.lost.map(|l| l.1)),
            of.plant,
        );
    }
    text
}
