//! `[[inverter]]` with its inputs and strings.

use super::order::{at_most, below};
use super::parts::Ids;
use super::{list, refer, value};
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::table::Found;
use crate::table::Table;
use analysis::plant::{Derating, EfficiencyPoint, Input, Inverter, PvString};
use analysis::reading::{
    ApparentPower, Current, DeviceId, Power, Resistance, Span, Temperature, Voltage,
};
use std::collections::BTreeSet;
use std::fmt::Display;

/// Current to earth on which the default limit of insulation resistance rests [A]: the array's
/// highest voltage over its insulation. IEC 62109-2, clause 4.8.2 (from memory, verify).
const ISOLATION_CURRENT_A: f64 = 0.030;

/// The inverter; how often it is read is filled in later.
pub(super) fn inverter(
    raw: &raw::Inverter,
    modules: &Ids,
    planes: &Ids,
    problems: &mut Problems<'_>,
) -> Option<Inverter> {
    relate(raw, problems);
    let phases = phases(raw, problems);
    let derating = derating(raw, problems);
    each_once(raw, problems);
    let inputs: Vec<_> = list(&raw.input)
        .iter()
        .map(|input| self::input(input, modules, planes, problems))
        .collect();
    let rated_ac_w = *value(&raw.rated_ac_w)?;
    let max_dc_v = *value(&raw.max_dc_voltage_v)?;
    let isolation_limit = value(&raw.isolation_limit_ohm).copied();
    let max_apparent_va = value(&raw.max_apparent_va).copied();
    Some(Inverter {
        id: DeviceId::new(value(&raw.id)?.0.as_str()),
        rated_ac: Power::from_w(rated_ac_w),
        max_apparent: ApparentPower::from_va(max_apparent_va.unwrap_or(rated_ac_w)),
        max_dc_voltage: Voltage::from_v(max_dc_v),
        start_voltage: Voltage::from_v(*value(&raw.start_voltage_v)?),
        tracking_min: Voltage::from_v(*value(&raw.tracking_min_v)?),
        tracking_max: Voltage::from_v(*value(&raw.tracking_max_v)?),
        phases: phases?,
        efficiency: efficiency(raw)?,
        derating: derating?,
        isolation_limit: Resistance::from_ohm(
            isolation_limit.unwrap_or(max_dc_v / ISOLATION_CURRENT_A),
        ),
        inputs: inputs.into_iter().collect::<Option<_>>()?,
        every: Span::ZERO,
    })
}

/// Both keys or none; the outer `None` means that something was reported.
fn derating(raw: &raw::Inverter, problems: &mut Problems<'_>) -> Option<Option<Derating>> {
    let (from, ratio) = (
        "heatsink_derating_from_degc",
        "heatsink_derating_ratio_per_k",
    );
    let (this, other, span) = match (
        &raw.heatsink_derating_from_degc,
        &raw.heatsink_derating_ratio_per_k,
    ) {
        (None, None) => return Some(None),
        (Some(from), Some(ratio)) => {
            return Some(Some(Derating {
                from: Temperature::from_degc(from.value),
                ratio_per_k: ratio.value,
            }));
        }
        (Some(found), None) => (from, ratio, &found.span),
        (None, Some(found)) => (ratio, from, &found.span),
    };
    let (found, wanted) = (
        format!("no {other} beside it"),
        format!("both {this} and {other}"),
    );
    problems.add(
        Fault::Contradiction,
        span,
        raw.at().key(this),
        found,
        wanted,
    );
    None
}

fn relate(raw: &raw::Inverter, problems: &mut Problems<'_>) {
    let at = raw.at();
    let max_dc = ("max_dc_voltage_v", &raw.max_dc_voltage_v, "V");
    let window_min = ("tracking_min_v", &raw.tracking_min_v, "V");
    let window_max = ("tracking_max_v", &raw.tracking_max_v, "V");
    let start = ("start_voltage_v", &raw.start_voltage_v, "V");
    below(at, window_min, window_max, problems);
    at_most(at, window_max, max_dc, problems);
    below(at, start, max_dc, problems);
    let apparent = ("max_apparent_va", &raw.max_apparent_va, "VA");
    at_most(at, ("rated_ac_w", &raw.rated_ac_w, "W"), apparent, problems);
    for input in list(&raw.input) {
        let (short, operating) = ("max_short_circuit_current_a", "max_operating_current_a");
        let operating = (operating, &input.max_operating_current_a, "A");
        let short = (short, &input.max_short_circuit_current_a, "A");
        at_most(input.at(), operating, short, problems);
    }
}

fn phases(raw: &raw::Inverter, problems: &mut Problems<'_>) -> Option<u8> {
    let phases = raw.phases.as_ref()?;
    if matches!(phases.value, 1 | 3) {
        return Some(phases.value as u8);
    }
    let (path, found) = (raw.at().key("phases"), phases.value.to_string());
    problems.add(Fault::OutOfRange, &phases.span, path, found, "1 or 3");
    None
}

/// Input numbers and string labels are printed on one device: each stands once.
fn each_once(raw: &raw::Inverter, problems: &mut Problems<'_>) {
    let (mut numbers, mut labels) = (BTreeSet::new(), BTreeSet::new());
    for input in list(&raw.input) {
        let path = input.at().key("number");
        once(&mut numbers, &input.number, path, problems);
        for string in list(&input.string) {
            let path = string.at().key("label");
            once(&mut labels, &string.label, path, problems);
        }
    }
}

fn once<T: Ord + Clone + Display>(
    seen: &mut BTreeSet<T>,
    field: &Option<Found<T>>,
    path: String,
    problems: &mut Problems<'_>,
) {
    let Some(field) = field else { return };
    if !seen.insert(field.value.clone()) {
        let found = format!("{} a second time", field.value);
        let wanted = "each once in an inverter";
        problems.add(Fault::Duplicate, &field.span, path, found, wanted);
    }
}

fn efficiency(raw: &raw::Inverter) -> Option<Vec<EfficiencyPoint>> {
    let points = value(&raw.efficiency)?.0.iter();
    let point = |&(load_ratio, efficiency_ratio): &(f64, f64)| EfficiencyPoint {
        load_ratio,
        efficiency_ratio,
    };
    Some(points.map(point).collect())
}

/// Strings of an input are numbered in 8 bits in channel addresses.
const MAX_STRINGS: usize = 64;

fn input(
    raw: &raw::Input,
    modules: &Ids,
    planes: &Ids,
    problems: &mut Problems<'_>,
) -> Option<Input> {
    let count = list(&raw.string).len();
    if count > MAX_STRINGS {
        let (path, found) = (raw.at().key("string"), format!("{count} strings"));
        let wanted = format!("up to {MAX_STRINGS} on one input");
        problems.add(Fault::OutOfRange, &raw.at().span, path, found, wanted);
    }
    let strings: Vec<_> = list(&raw.string)
        .iter()
        .map(|string| self::string(string, modules, planes, problems))
        .collect();
    Some(Input {
        number: *value(&raw.number)? as u8,
        max_operating_current: Current::from_a(*value(&raw.max_operating_current_a)?),
        max_short_circuit_current: Current::from_a(*value(&raw.max_short_circuit_current_a)?),
        strings: strings.into_iter().collect::<Option<_>>()?,
    })
}

fn string(
    raw: &raw::PvString,
    modules: &Ids,
    planes: &Ids,
    problems: &mut Problems<'_>,
) -> Option<PvString> {
    let module = refer(
        &raw.module,
        (raw.at(), "module", "module"),
        modules,
        problems,
    );
    let plane = refer(&raw.plane, (raw.at(), "plane", "plane"), planes, problems);
    Some(PvString {
        label: value(&raw.label)?.clone(),
        module: module?,
        count: *value(&raw.count)? as u16,
        plane: plane?,
        cable_loop: Resistance::from_ohm(*value(&raw.cable_loop_ohm)?),
    })
}
