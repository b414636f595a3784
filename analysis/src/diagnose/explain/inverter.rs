//! Findings on the inverter itself, in words and numbers.
//! Never in here: decisions.

use super::{causes, evidence, place};
use crate::array::Limit;
use crate::detect::{Acted, EfficiencyLow, Kind, OffPeak, Protection, Severity, Stretch};
use crate::diagnose::measured::measured;
use crate::diagnose::{
    Evidence, NewFinding, Subject, Urgency, protection_advice, protection_caution,
};
use crate::reading::{DeviceId, Energy, Time};

/// Days of heat in a stretch from which it recurs.
const RECURRENT_DAYS: u32 = 3;

/// An input on its healthy curve and away from its peak.
pub fn tracker_off_peak(subject: Subject, found: Time, off: &OffPeak) -> NewFinding {
    let right = off.voltage_ratio > 1.0;
    let (side, ranked): (_, &[(&str, f64)]) = if right {
        (
            "above",
            &[
                ("tracker caught at a lower peak, as shade leaves it", 0.55),
                (
                    "shade or dirt on single cells that holds the string's current down",
                    0.25,
                ),
                ("an export limit that is not published, on this input", 0.1),
                ("fixed voltage or another mode set", 0.1),
            ],
        )
    } else {
        (
            "under",
            &[
                ("tracker caught at a lower peak, as shade leaves it", 0.6),
                ("fixed voltage or another mode set", 0.25),
                (
                    "inputs linked in parallel, or a voltage measured wrong",
                    0.15,
                ),
            ],
        )
    };
    NewFinding {
        summary: format!(
            "{} works at {:.1} % {side} the voltage of its peak and gives {:.1} % less power there; the \
             array is healthy and no limit explains it.",
            place(&subject),
            100.0 * (off.voltage_ratio - 1.0).abs(),
            100.0 * off.lost_ratio
        ),
        subject,
        kind: Kind::TrackerOffPeak,
        began: off.began,
        found,
        confidence: measured(Kind::TrackerOffPeak),
        causes: causes(ranked),
        evidence: evidence(&[
            ("voltage_ratio", off.voltage_ratio),
            ("voltage_sigma_ratio", off.voltage_sigma),
            ("voltage_guard_sigmas", off.guard_sigmas),
            ("lost_along_curve_ratio", off.lost_ratio),
            ("current_over_curve_ratio", off.current_ratio),
            ("current_over_curve_sigma_ratio", off.current_sigma),
            ("slots_off_count", f64::from(off.slots.0)),
            ("slots_count", f64::from(off.slots.1)),
        ]),
        lost: Energy::from_wh(off.lost_wh),
    }
}

/// AC power under what the DC power should make.
pub fn efficiency_low(
    device: &DeviceId,
    began: Time,
    found: Time,
    low: &EfficiencyLow,
    lost: Energy,
) -> NewFinding {
    let percent = 100.0 * low.shift.size;
    let (than, ranked): (_, &[(&str, f64)]) = if low.against_own {
        (
            "than it did",
            &[
                (
                    "inverter hot: fan or filter blocked, or a fan that stands",
                    0.4,
                ),
                (
                    "inverter losing efficiency: a part of it ages or fails",
                    0.35,
                ),
                ("AC or DC meter of the inverter has drifted", 0.25),
            ],
        )
    } else {
        (
            "than its datasheet says, and more than its meters may be apart,",
            &[
                ("AC or DC meter of the inverter off, or scaled wrong", 0.5),
                (
                    "inverter losing efficiency: a part of it ages or fails",
                    0.3,
                ),
                ("efficiency in the site file too high", 0.2),
            ],
        )
    };
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::EfficiencyLow,
        began,
        found,
        confidence: measured(Kind::EfficiencyLow),
        causes: causes(ranked),
        evidence: evidence(&[
            ("efficiency_loss_ratio", low.shift.size),
            ("efficiency_loss_sigma_ratio", low.shift.sigma),
            ("healthy_up_to_ratio", low.edge),
            ("days_count", f64::from(low.shift.days)),
        ]),
        lost,
        summary: format!("{device} makes {percent:.1} % less AC {than} of the same DC power."),
    }
}

/// Days on which limits took more than a little.
pub fn limited(device: &DeviceId, found: Time, stretch: &Stretch, lost: Energy) -> NewFinding {
    let all_wh = stretch.all_wh();
    let mut ranked = Vec::new();
    let mut numbers: Evidence = evidence(&[
        ("limited_days_count", f64::from(stretch.days)),
        ("last_day_limited_ratio", stretch.last_day_ratio),
        ("worst_day_limited_ratio", stretch.worst_day_ratio),
        ("offered_wh", stretch.offered_wh),
    ]);
    for (limit, wh) in stretch.ranked() {
        numbers.insert(format!("limited_{}_wh", limit.name()), wh);
        for (cause, share) in limit_causes(limit, stretch) {
            ranked.push((cause, share * wh / all_wh));
        }
    }
    ranked.sort_by(|a, b| b.1.total_cmp(&a.1));
    let days = match stretch.days {
        1 => "on one day".to_owned(),
        n => format!("on {n} days in a row"),
    };
    let leading = stretch.ranked().first().map(|(limit, _)| *limit);
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::Limited,
        began: stretch.began,
        found,
        confidence: 1.0,
        causes: causes(&ranked),
        evidence: numbers,
        lost,
        summary: format!(
            "{device} was held back {days}, {:.1} % of the last, most by {}; it is no fault of the array.",
            100.0 * stretch.last_day_ratio,
            leading.map_or("a limit", limit_words)
        ),
    }
}

fn limit_words(limit: Limit) -> &'static str {
    match limit {
        Limit::Asleep => "too little voltage to start",
        Limit::RatedPower => "clipping at rated power",
        Limit::ApparentPower => "reactive power, which leaves less of the apparent power",
        Limit::Command => "a power limit from outside",
        Limit::VoltWatt => "its volt-watt response to a high supply voltage",
        Limit::Heat => "heat",
        Limit::TrackingLow => "the lower end of its tracking window",
        Limit::TrackingHigh => "the upper end of its tracking window",
        Limit::InputCurrent => "the current limit of an input",
        Limit::NotTold => "something that is not published",
    }
}

/// What may be behind a limit; shares that add up to 1 (engineering judgement: what to look at first).
fn limit_causes(limit: Limit, stretch: &Stretch) -> Vec<(&'static str, f64)> {
    let (moved, still) = stretch.command_moved;
    match limit {
        // It followed something before and stands still now: as without word from its meter.
        Limit::Command if moved > 0 && still > 0 => vec![
            ("export limit that follows the consumption", 0.5),
            (
                "fallback of the export limit after its meter link was lost",
                0.35,
            ),
            ("fixed export or remote limit", 0.15),
        ],
        Limit::Command if moved > 0 => vec![
            ("export limit that follows the consumption", 0.8),
            ("remote limit, as the network operator sends", 0.2),
        ],
        Limit::Command => vec![
            ("fixed export or remote limit", 0.7),
            (
                "fallback of the export limit after its meter link was lost",
                0.3,
            ),
        ],
        Limit::Heat if stretch.hot_days >= RECURRENT_DAYS => vec![
            ("heat, day after day: clean the fan and the filter", 0.7),
            (
                "heat: sun on the inverter or too little room around it",
                0.3,
            ),
        ],
        Limit::Heat => vec![("heat: thermal derating on a hot day", 1.0)],
        Limit::NotTold => vec![
            ("export limit or other setting that is not published", 0.7),
            ("heat: thermal derating that is not published", 0.3),
        ],
        other => vec![(limit_words(other), 1.0)],
    }
}

/// Protection that acted.
pub fn protection_acted(device: &DeviceId, found: Time, acted: &Acted) -> (NewFinding, Urgency) {
    let n = acted.which.len() as f64;
    let ranked: Vec<(&str, f64)> = acted
        .which
        .iter()
        .map(|(which, _)| (protection_words(*which), 1.0 / n))
        .collect();
    let words: Vec<&str> = ranked.iter().map(|(words, _)| *words).collect();
    let severity = acted.which.iter().map(|(which, _)| severity_of(*which));
    let lines = |of: fn(Protection) -> &'static [&'static str]| {
        let lines = acted.which.iter().flat_map(|(which, _)| of(*which));
        lines.map(ToString::to_string).collect()
    };
    let new = NewFinding {
        subject: Subject::device(device),
        kind: Kind::ProtectionActed,
        began: acted.began,
        found,
        confidence: 0.98,
        causes: causes(&ranked),
        evidence: acted_evidence(acted),
        lost: Energy::from_wh(0.0),
        summary: format!("{device} reports: {}.", words.join("; ")),
    };
    let urgency = Urgency {
        severity: severity.max().unwrap_or(Severity::Soon),
        advice: lines(protection_advice),
        caution: lines(protection_caution),
    };
    (new, urgency)
}

/// How often each has been seen.
pub fn acted_evidence(acted: &Acted) -> Evidence {
    let polls = |(which, polls): &(Protection, u32)| {
        let name = format!("{}_polls_count", protection_name(*which));
        (name, f64::from(*polls))
    };
    let mut numbers: Evidence = acted.which.iter().map(polls).collect();
    numbers.insert("times_count".to_owned(), f64::from(acted.times));
    numbers
}

/// What has acted.
pub fn protection_words(which: Protection) -> &'static str {
    match which {
        Protection::Arc => "an arc in the array was detected",
        Protection::DcOverVoltage => "DC voltage too high",
        Protection::BlownStringFuse => "a string fuse has blown",
        Protection::HardwareTest => "a test of its own hardware failed (relay, fan or electronics)",
        Protection::OverTemperature => "too hot",
        Protection::CabinetOpen => "its cabinet is open",
        Protection::DcDisconnect => "DC side disconnected in daylight",
        Protection::AcDisconnect => "AC side disconnected in daylight",
        Protection::MemoryLoss => "memory or communication lost inside",
        Protection::MakersAlarm => "an alarm of its maker's own",
        Protection::UnderTemperature => "too cold",
    }
}

fn protection_name(which: Protection) -> &'static str {
    match which {
        Protection::Arc => "arc",
        Protection::DcOverVoltage => "dc_over_voltage",
        Protection::BlownStringFuse => "blown_string_fuse",
        Protection::HardwareTest => "hardware_test",
        Protection::OverTemperature => "over_temperature",
        Protection::CabinetOpen => "cabinet_open",
        Protection::DcDisconnect => "dc_disconnect",
        Protection::AcDisconnect => "ac_disconnect",
        Protection::MemoryLoss => "memory_loss",
        Protection::MakersAlarm => "makers_alarm",
        Protection::UnderTemperature => "under_temperature",
    }
}

/// An arc is a fire that begins; too high a DC voltage breaks what insulates. Cold mends itself.
fn severity_of(which: Protection) -> Severity {
    match which {
        Protection::Arc | Protection::DcOverVoltage => Severity::Now,
        Protection::BlownStringFuse
        | Protection::HardwareTest
        | Protection::OverTemperature
        | Protection::CabinetOpen
        | Protection::DcDisconnect
        | Protection::AcDisconnect => Severity::Soon,
        Protection::MemoryLoss | Protection::MakersAlarm => Severity::Plan,
        Protection::UnderTemperature => Severity::Note,
    }
}
