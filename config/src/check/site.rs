//! `[site]`: place, time zone, supply rules, price, handover.

use super::value;
use crate::grid;
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::Table;
use crate::table::{near, nearest};
use analysis::plant::{EnergyPrice, GridLimits, Site};
use analysis::reading::{Angle, Temperature, Time};
use chrono::{NaiveDate, NaiveTime};
use chrono_tz::{TZ_VARIANTS, Tz};
use std::ops::Range;

/// What `[site]` says; each part is there unless it was reported.
pub(super) struct Read {
    pub(super) site: Option<Site>,
    pub(super) timezone: Option<Tz>,
    pub(super) commissioned: Option<NaiveDate>,
    pub(super) grid_rules: Option<&'static str>,
}

pub(super) fn site(raw: &raw::Site, problems: &mut Problems<'_>) -> Read {
    let found = raw.timezone.as_ref();
    let timezone =
        found.and_then(|f| time_zone(&f.value, (&f.span, &raw.at().key("timezone")), problems));
    let commissioned = commissioned(raw, problems);
    let (grid_rules, grid_limits) = grid(raw, problems).unzip();
    let energy_price = energy_price(raw, problems);
    Read {
        site: place(raw, commissioned, grid_limits, energy_price),
        timezone,
        commissioned,
        grid_rules,
    }
}

fn place(
    raw: &raw::Site,
    commissioned: Option<NaiveDate>,
    grid_limits: Option<GridLimits>,
    energy_price: Option<Option<EnergyPrice>>,
) -> Option<Site> {
    Some(Site {
        name: value(&raw.name)?.clone(),
        latitude: Angle::from_deg(*value(&raw.latitude_deg)?),
        longitude: Angle::from_deg(*value(&raw.longitude_deg)?),
        altitude_m: *value(&raw.altitude_m)?,
        commissioned: midnight(commissioned?),
        linke_turbidity: value(&raw.linke_turbidity)?.0,
        design_coldest: value(&raw.design_coldest_degc).map(|t| Temperature::from_degc(*t)),
        design_hottest_cell: Temperature::from_degc(*value(&raw.design_hottest_cell_degc)?),
        energy_price: energy_price?,
        grid_limits: grid_limits?,
    })
}

/// The beginning of a day in UTC: to a day is good enough for ageing.
fn midnight(day: NaiveDate) -> Time {
    let midnight = day.and_time(NaiveTime::MIN).and_utc();
    Time::from_unix_ms(midnight.timestamp_millis())
}

/// The zone with this IANA name.
pub(super) fn time_zone(
    name: &str,
    (span, path): (&Range<usize>, &str),
    problems: &mut Problems<'_>,
) -> Option<Tz> {
    let zone = name.parse::<Tz>().ok();
    if zone.is_none() {
        let names: Vec<_> = TZ_VARIANTS.iter().map(|zone| zone.name()).collect();
        let wanted = nearest(name, &names).map_or_else(
            || "an IANA time zone, as \"Australia/Hobart\"".to_owned(),
            |near| format!("an IANA time zone: \"{near}\""),
        );
        problems.add(
            Fault::UnknownName,
            span,
            path,
            format!("text {name:?}"),
            wanted,
        );
    }
    zone
}

fn commissioned(raw: &raw::Site, problems: &mut Problems<'_>) -> Option<NaiveDate> {
    // Before this, grid-connected string inverters with a data interface did not exist (common
    // knowledge); a date past the end is a slip of the year.
    let first = NaiveDate::from_ymd_opt(1990, 1, 1).expect("a day of the calendar");
    let last = NaiveDate::from_ymd_opt(2099, 12, 31).expect("a day of the calendar");
    let found = raw.commissioned.as_ref()?;
    if (first..=last).contains(&found.value) {
        return Some(found.value);
    }
    let path = raw.at().key("commissioned");
    let text = format!("date {}", found.value);
    let wanted = format!("a date from {first} to {last}");
    problems.add(Fault::OutOfRange, &found.span, path, text, wanted);
    None
}

fn grid(raw: &raw::Site, problems: &mut Problems<'_>) -> Option<(&'static str, GridLimits)> {
    let found = raw.grid_rules.as_ref()?;
    let Some((name, rules)) = grid::rules(&found.value) else {
        let path = raw.at().key("grid_rules");
        let text = format!("text {:?}", found.value);
        let wanted = near(&found.value, grid::names());
        problems.add(Fault::UnknownName, &found.span, path, text, wanted);
        return None;
    };
    if let Some(nominal) = &raw.nominal_phase_voltage_v
        && !rules.limits_are_ratios
    {
        let path = raw.at().key("nominal_phase_voltage_v");
        let text = format!("{} V", nominal.value);
        let wanted = format!("no such key with grid_rules = \"{name}\", whose limits are in volts");
        problems.add(Fault::Contradiction, &nominal.span, path, text, wanted);
    }
    let nominal_v = value(&raw.nominal_phase_voltage_v).copied();
    Some((name, rules.limits(nominal_v)))
}

/// Price and currency go together; the outer `None` means that something was reported.
fn energy_price(raw: &raw::Site, problems: &mut Problems<'_>) -> Option<Option<EnergyPrice>> {
    let (key, there) = match (&raw.energy_price_per_kwh, &raw.currency) {
        (None, None) => return Some(None),
        (Some(price), Some(currency)) => {
            let code = &currency.value;
            if code.len() == 3 && code.bytes().all(|b| b.is_ascii_uppercase()) {
                let per_kwh = price.value;
                let currency = code.clone();
                return Some(Some(EnergyPrice { per_kwh, currency }));
            }
            let path = raw.at().key("currency");
            let wanted = "three capital letters (ISO 4217), as \"AUD\"";
            problems.add(
                Fault::UnknownName,
                &currency.span,
                path,
                format!("text {code:?}"),
                wanted,
            );
            return None;
        }
        (Some(price), None) => (("energy_price_per_kwh", "currency"), &price.span),
        (None, Some(currency)) => (("currency", "energy_price_per_kwh"), &currency.span),
    };
    let (this, other) = key;
    let (found, wanted) = (
        format!("no {other} beside it"),
        format!("both {this} and {other}"),
    );
    problems.add(
        Fault::Contradiction,
        there,
        raw.at().key(this),
        found,
        wanted,
    );
    None
}
