//! A single disconnection by the supply, in words and numbers.
//! Never in here: decisions; trips that return (`explain_supply`).

use super::evidence;
use crate::detect::{Compared, Kind, Reconnection, TripCause, TripReport};
use crate::diagnose::{Cause, Evidence, NewFinding, Subject};
use crate::reading::{DeviceId, Energy, Span, Time};

/// The class of trips that is a hazard.
pub(in crate::diagnose) const NEUTRAL_LOST: &str = "the neutral of the supply lost";

/// A disconnection by the supply.
pub fn grid_trip(device: &DeviceId, began: Time, found: Time, report: &TripReport) -> NewFinding {
    let mut numbers = Evidence::new();
    if let Some((highest, lowest)) = report.voltage_before_v {
        numbers.insert("highest_phase_before_v".to_owned(), highest);
        numbers.insert("lowest_phase_before_v".to_owned(), lowest);
    }
    if let Some(hz) = report.frequency_before_hz {
        numbers.insert("frequency_before_hz".to_owned(), hz);
    }
    if let Some(mean) = report.mean_v {
        numbers.insert("highest_phase_ten_minute_mean_v".to_owned(), mean);
    }
    numbers.insert("off_s".to_owned(), (found - began).seconds());
    let first = report
        .causes
        .first()
        .map_or("not visible in the polled values", |c| trip_words(c.0));
    let leading = report.causes.first().map(|(cause, _)| *cause);
    let unseen = [TripCause::NotVisible, TripCause::NetworkNotVisible];
    let seen = leading.is_some_and(|cause| !unseen.contains(&cause));
    if let (Some(limit), Some(cause)) = (report.limit, leading) {
        numbers.insert(limit_name(cause).to_owned(), limit);
    }
    let together = report.together;
    numbers.extend(evidence(&[
        ("inverters_off_together_count", f64::from(together.off)),
        ("inverters_at_work_before_count", f64::from(together.of)),
    ]));
    if let Some(back) = &report.reconnection {
        numbers.extend(reconnection(back));
    }
    NewFinding {
        subject: Subject::device(device),
        kind: Kind::GridTrip,
        began,
        found,
        confidence: match leading {
            _ if seen => 0.95,
            // Nothing but the network stops all of them at once.
            Some(TripCause::NetworkNotVisible) => 0.7,
            _ => 0.5,
        },
        causes: report
            .causes
            .iter()
            .map(|(cause, p)| Cause {
                cause: trip_words(*cause).to_owned(),
                probability: *p,
            })
            .collect(),
        evidence: numbers,
        lost: Energy::from_wh(0.0),
        summary: trip_summary(device, leading, first, report),
    }
}

fn trip_summary(
    device: &DeviceId,
    leading: Option<TripCause>,
    first: &str,
    report: &TripReport,
) -> String {
    let what = match leading {
        Some(TripCause::NeutralLost) => format!(
            "The supply disconnected {device}: {first}. Equipment on this supply gets far too much or too \
             little voltage: switch off at the main switch and call the network operator now."
        ),
        Some(TripCause::BranchOpen) => {
            format!("{device} alone has no supply: {first}; other inverters have theirs.")
        }
        Some(TripCause::NotVisible) | None => match report.reconnection {
            Some(_) => format!(
                "{device} stopped in good light and came back; what it publishes does not say why."
            ),
            None => format!(
                "{device} stopped in good light and waits to connect again; what it publishes does not \
                 say why."
            ),
        },
        Some(_) => format!("The supply disconnected {device}: {first}."),
    };
    let who = match report.together.is_whole_site() {
        Some(true) => " The whole site let go together: the network.",
        Some(false) if leading != Some(TripCause::BranchOpen) => " Other inverters stayed on.",
        _ => "",
    };
    let back = report.reconnection.as_ref();
    let back = back.map_or_else(String::new, reconnection_words);
    format!("{what}{who}{back}")
}

/// What is told of a wait only where it is not as asked for: the rest is in the evidence.
fn reconnection_words(back: &Reconnection) -> String {
    let (Some(waited), Some(wanted)) = (back.waited, back.wanted) else {
        return String::new();
    };
    let (waited_s, wanted_s) = (waited.seconds(), wanted.seconds());
    match back.compared() {
        Some(Compared::TooSoon) => format!(
            " It came back after {waited_s:.0} s of good supply, sooner than the {wanted_s:.0} s that are \
             asked for: have its settings looked at."
        ),
        Some(Compared::Sluggish) => format!(
            " It came back after {waited_s:.0} s of good supply, {wanted_s:.0} s are asked for: something \
             else held it."
        ),
        Some(Compared::AsWanted) | None => String::new(),
    }
}

/// How an inverter came back, in numbers.
pub fn reconnection(back: &Reconnection) -> Evidence {
    let ratio = back.waited.zip(back.wanted);
    let ratio = ratio.map(|(waited, wanted)| waited.seconds() / wanted.seconds());
    let known = [
        (
            "reconnect_after_good_supply_s",
            back.waited.map(Span::seconds),
        ),
        ("reconnect_delay_wanted_s", back.wanted.map(Span::seconds)),
        (
            "reconnect_over_wanted_ratio",
            ratio.filter(|r| r.is_finite()),
        ),
        ("reconnect_ramp_wanted_s", back.ramp.map(Span::seconds)),
        (
            "reconnect_wait_published_s",
            back.announced.map(Span::seconds),
        ),
    ];
    let known = known.into_iter();
    let mut numbers: Evidence = known
        .filter_map(|(name, number)| Some((name.to_owned(), number?)))
        .collect();
    let bounds = back.waited.map(|_| {
        [
            ("reconnect_at_least_s", back.at_least.seconds()),
            ("reconnect_at_most_s", back.at_most.seconds()),
        ]
    });
    numbers.extend(evidence(bounds.as_ref().map_or(&[], |b| b.as_slice())));
    let bad_s = back.supply_bad.seconds();
    numbers.insert("supply_outside_connection_range_s".to_owned(), bad_s);
    numbers
}

/// The limit that acted, by its unit.
fn limit_name(cause: TripCause) -> &'static str {
    match cause {
        TripCause::OverFrequency | TripCause::UnderFrequency => "limit_in_force_hz",
        _ => "limit_in_force_v",
    }
}

/// A class of trips in trade words.
pub(in crate::diagnose) fn trip_words(cause: TripCause) -> &'static str {
    match cause {
        TripCause::SustainedOverVoltage => "sustained over-voltage (ten-minute mean)",
        TripCause::OverVoltage => "over-voltage",
        TripCause::UnderVoltage => "under-voltage",
        TripCause::PhaseLost => "a phase of the supply lost",
        TripCause::NeutralLost => NEUTRAL_LOST,
        TripCause::OverFrequency => "over-frequency",
        TripCause::UnderFrequency => "under-frequency",
        TripCause::SupplyLost => "supply lost",
        TripCause::BranchOpen => "its AC isolator, breaker or branch open",
        TripCause::NetworkNotVisible => {
            "a disturbance of the network too fast for the polled values"
        }
        TripCause::NotVisible => "too fast to be seen in the polled values",
    }
}
