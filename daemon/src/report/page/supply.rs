//! The pictures of every inverter as a whole: insulation by morning, voltage against export, trips
//! by hour. Voltage and export come from what the store has kept of the readings: minutes for a
//! short period, hours for a long one.
//! Never in here: a verdict on the supply.

use super::inputs::Shown;
use super::{PageError, Whole};
use crate::report::ReportError;
use crate::store::{Cell, StoreError};
use analysis::chart::{
    HoursInput, MorningsInput, SupplyInput, SupplyPoint, hours_picture, mornings_picture,
    supply_picture,
};
use analysis::detect::Morning;
use analysis::plant::Inverter;
use analysis::reading::{Channel, Place, Quantity, Span, Time};
use analysis::review::trips_by_hour;
use std::collections::BTreeMap;

/// Up to here minutes are shown, beyond hours.
const MINUTES_UP_TO: Span = Span::from_h(24 * 8);
/// Below this share of rated power the voltage is the network's alone.
const LEAST_POWER_RATIO: f64 = -0.05;

/// The pictures of every inverter, in the plant's order.
pub fn shown(whole: &Whole) -> Result<Vec<Shown>, ReportError> {
    let mut mornings: BTreeMap<usize, Vec<Morning>> = BTreeMap::new();
    for (i, morning) in whole.store.mornings()? {
        mornings.entry(i).or_default().push(morning);
    }
    let inverters = whole.about.plant.inverters.iter().enumerate();
    inverters
        .map(|(i, inverter)| {
            let mornings = mornings.remove(&i).unwrap_or_default();
            of_inverter(whole, inverter, &mornings)
        })
        .collect()
}

fn of_inverter(
    whole: &Whole,
    inverter: &Inverter,
    mornings: &[Morning],
) -> Result<Shown, ReportError> {
    let mut shown = Shown::default();
    let name = inverter.id.as_str();
    let mornings = MorningsInput {
        name,
        period: whole.period,
        mornings,
        limit: inverter.isolation_limit,
        utc_offset: whole.utc_offset,
    };
    shown.put(
        mornings_picture(&mornings).map_err(PageError::from)?,
        "No picture of the insulation: the inverter published no value at a start.",
    );
    let (span, points) = points(whole, inverter)?;
    let limits = &whole.about.plant.site.grid_limits;
    let supply = SupplyInput {
        name,
        span,
        points: &points,
        limit_v: limits.sustained_over_voltage.map(|limit| limit.v()),
        rated_kw: inverter.rated_ac.w() / 1000.0,
    };
    shown.put(
        supply_picture(&supply).map_err(PageError::from)?,
        "No picture of the supply's voltage: the store has too few readings of voltage and power of \
         one time (a replay keeps none).",
    );
    let own = whole
        .findings
        .iter()
        .filter(|f| f.subject.device == inverter.id);
    let hours = HoursInput {
        name,
        trips: &trips_by_hour(own, whole.period, whole.utc_offset),
    };
    shown.put(
        hours_picture(&hours).map_err(PageError::from)?,
        "No picture of disconnections: there was none.",
    );
    Ok(shown)
}

/// Means of export and highest phase voltage, and over what each is a mean.
fn points(
    whole: &Whole,
    inverter: &Inverter,
) -> Result<(&'static str, Vec<SupplyPoint>), StoreError> {
    let (from, to) = whole.period;
    let is_short = to - from <= MINUTES_UP_TO;
    let means = |quantity| -> Result<BTreeMap<Time, f64>, StoreError> {
        let channel = Channel {
            device: inverter.id.clone(),
            place: Place::Device,
            quantity,
        };
        let Some(id) = whole.about.plant.channels.id(&channel) else {
            return Ok(BTreeMap::new());
        };
        let cells = if is_short {
            whole.store.minutes(id, from, to)?
        } else {
            whole.store.hours(id, from, to)?
        };
        let mean = |cell: &Cell| Some((cell.start, cell.mean()?));
        Ok(cells.iter().filter_map(mean).collect())
    };
    let power = means(Quantity::AcPower)?;
    let mut highest: BTreeMap<Time, f64> = BTreeMap::new();
    for phase in [
        Quantity::AcVoltageL1,
        Quantity::AcVoltageL2,
        Quantity::AcVoltageL3,
    ] {
        for (at, volts) in means(phase)? {
            let high = highest.entry(at).or_insert(volts);
            *high = high.max(volts);
        }
    }
    let least_w = LEAST_POWER_RATIO * inverter.rated_ac.w();
    // A phase of which nothing is left but nearly no voltage is a supply that is off.
    let least_v = whole.about.plant.site.grid_limits.nominal_voltage.v() / 2.0;
    let points = highest.into_iter().filter_map(|(at, voltage_v)| {
        let export_w = *power.get(&at)?;
        let is_shown = export_w > least_w && voltage_v > least_v;
        is_shown.then(|| SupplyPoint {
            export_kw: (export_w / 1000.0).max(0.0),
            voltage_v,
        })
    });
    let span = if is_short { "minute" } else { "hour" };
    Ok((span, points.collect()))
}
