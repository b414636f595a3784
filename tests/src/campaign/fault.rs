//! Faults drawn at random: on which input, how large, from when to when.
//! Never in here: what a fault does to the plant (`inject`).

use super::draw::Draw;
use super::inject::Act;
use super::kinds::KindRow;
use super::plant_draw::DrawnPlant;
use super::truth::{Object, Sensing};
use analysis::plant::EventBit;
use analysis::reading::{Span, Time};

/// One fault of one plant.
#[derive(Debug, Clone, PartialEq)]
pub struct Fault {
    /// Its kind, as in `findings.jsonl`.
    pub kind: &'static str,
    /// Which size class, from 0.
    pub class: usize,
    /// In the unit of its row.
    pub size: f64,
    /// Index of the input it is on.
    pub input: Option<usize>,
    /// When it begins.
    pub began: Time,
    /// When it is as large as must be found.
    pub evident: Time,
    /// When it ends, if it does.
    pub until: Option<Time>,
    /// What it does.
    pub act: Act,
}

/// Hours of solar time and the like become a span.
fn hours(h: f64) -> Span {
    Span::from_s((h * 3600.0) as i64)
}

/// A fault of a kind and class on a plant, not before a day. `None` where the plant cannot have it.
pub fn draw_fault(
    row: &KindRow,
    class: usize,
    on: &DrawnPlant,
    draw: &mut Draw,
    first_day: i64,
) -> Option<Fault> {
    let (low, high) = row.classes[class];
    let day = on.start + Span::from_h(24 * first_day);
    let noonish = day + hours(draw.between(8.0, 14.0));
    let input = draw.whole(0, on.truth.inputs.len() as i64 - 1) as usize;
    let mut fault = Fault {
        kind: row.name,
        class,
        size: draw.between(low, high),
        input: (row.on == super::kinds::Scope::Input).then_some(input),
        began: noonish,
        evident: noonish,
        until: None,
        act: Act::Silent,
    };
    match row.name {
        "string_open" => open_strings(&mut fault, on, draw, (low, high))?,
        "grid_trip" | "grid_trips_repeated" => trips(&mut fault, draw, day),
        "inputs_swapped" | "string_count_differs" => wiring(&mut fault, on, draw)?,
        "soiling" | "snow" | "isolation_low" | "isolation_falling" | "degradation" => {
            slow(&mut fault, on, draw, day);
        }
        "link_lost" | "value_frozen" | "value_impossible" | "clock_off" | "sensor_wrong" => {
            measuring(&mut fault, on, draw)?;
        }
        _ => others(&mut fault, on, draw)?,
    }
    Some(fault)
}

/// What needs no more than its size.
fn others(fault: &mut Fault, on: &DrawnPlant, draw: &mut Draw) -> Option<()> {
    let size = fault.size;
    let rated_va = on.plant.inverters[0].max_apparent.va();
    fault.act = match fault.kind {
        "input_dead" => Act::Dead(draw.chance(0.5)),
        "section_lost" => {
            // Of 60 in the unit; rounded to whole ones of this string, at least the smallest.
            let string = &on.truth.inputs[fault.input?].strings[0];
            let sections = string.modules * on.truth.sections;
            let lost = (size * sections / 60.0).round().max(1.0);
            fault.size = lost * 60.0 / sections;
            Act::SectionsLost(lost)
        }
        "resistance_high" => Act::Ohm(size),
        "current_low" => Act::LightLess(size),
        "shade" => shade(fault, on, draw),
        "tracker_off_peak" => Act::OffPeak(size, draw.chance(0.5)),
        "inverter_off" => Act::Off(draw.chance(0.5)),
        "residual_current_high" => {
            // IEC 62109-2 as REFERENCE D.2 has it: 300 mA up to 30 kVA, 10 mA per kVA above.
            let limit_a = if rated_va <= 30_000.0 {
                0.3
            } else {
                rated_va / 1000.0 * 0.01
            };
            Act::Leaks(limit_a * size)
        }
        "grid_voltage_high" => {
            // As it was wired: a rise that comes later is a joint going bad.
            (fault.began, fault.evident) = (on.start, on.start);
            Act::Rises(size)
        }
        "supply_resistance_high" => Act::Joint(size),
        "protection_acted" => {
            fault.until = Some(fault.began + hours(draw.between(0.5, 3.0)));
            Act::Bit(draw.pick(&[
                EventBit::OverTemperature,
                EventBit::BlownStringFuse,
                EventBit::DcOverVoltage,
                EventBit::HardwareTestFailure,
            ]))
        }
        "limited" => Act::Limit(1.0 - size, draw.chance(0.6)),
        "efficiency_low" => Act::Inefficient(size),
        _ => return None,
    };
    Some(())
}

fn open_strings(
    fault: &mut Fault,
    on: &DrawnPlant,
    draw: &mut Draw,
    (low, high): (f64, f64),
) -> Option<()> {
    let mut fits = Vec::new();
    for (k, input) in on.truth.inputs.iter().enumerate() {
        let n = input.strings.len();
        let share = |open: usize| open as f64 / n as f64;
        fits.extend(
            (1..n)
                .filter(|o| (low..=high).contains(&share(*o)))
                .map(|o| (k, o, share(o))),
        );
    }
    if fits.is_empty() {
        return None;
    }
    let (k, open, share) = draw.pick(&fits);
    fault.input = Some(k);
    fault.size = share;
    fault.act = Act::Open(open);
    Some(())
}

/// One around noon, or one a day around noon on days drawn within a week.
fn trips(fault: &mut Fault, draw: &mut Draw, day: Time) {
    let many = fault.kind == "grid_trips_repeated";
    let count = if many { fault.size.round() as i64 } else { 1 };
    fault.size = if many { count as f64 } else { fault.size };
    let mut trips = Vec::new();
    for n in 0..count {
        let last = if many { (n * 7) / count } else { 0 };
        let at = day + Span::from_h(24 * last) + hours(draw.between(10.0, 13.5));
        let minutes = if many {
            draw.between(8.0, 25.0)
        } else {
            fault.size
        };
        trips.push((at, hours(minutes / 60.0)));
    }
    fault.began = trips[0].0;
    fault.evident = trips[if many { 2 } else { 0 }].0;
    fault.until = trips
        .last()
        .map(|(at, lasts)| *at + *lasts + Span::from_min(1));
    fault.act = Act::Trips(trips);
}

/// Shade that falls on a share of the input's modules, for some half an hour to three hours a day.
fn shade(fault: &mut Fault, on: &DrawnPlant, draw: &mut Draw) -> Act {
    let to_equator = if on.truth.latitude_deg < 0.0 {
        0.0
    } else {
        180.0
    };
    let middle = to_equator + draw.between(-65.0, 65.0);
    let half = draw.between(7.0, 25.0);
    fault.began = fault.began - Span::from_h(12);
    fault.evident = fault.began;
    Act::Shade(Object {
        from_deg: middle - half,
        to_deg: middle + half,
        below_deg: 90.0,
        share: fault.size,
        leaves: 0.0,
    })
}

fn slow(fault: &mut Fault, on: &DrawnPlant, draw: &mut Draw, day: Time) {
    let size = fault.size;
    match fault.kind {
        "soiling" => {
            let grows_d = draw.between(10.0, 25.0);
            fault.evident = fault.began + hours(24.0 * grows_d * 0.03 / size);
            fault.until = Some(fault.began + hours(24.0 * (grows_d + draw.between(4.0, 10.0))));
            fault.act = Act::Soiling(size, grows_d);
        }
        "snow" => {
            fault.began = day + Span::from_h(2);
            fault.evident = day + Span::from_h(8);
            fault.until =
                Some(day + hours(24.0 * draw.whole(0, 2) as f64 + draw.between(12.5, 14.5)));
            fault.act = Act::Snow;
        }
        "isolation_low" => {
            let ohm = on.plant.inverters[0].isolation_limit.ohm() / size;
            fault.began = day + Span::from_h(2);
            fault.evident = fault.began;
            fault.act = Act::Isolation(ohm, draw.chance(0.5));
        }
        "isolation_falling" => {
            // A warning is due when it has fallen by half a decade and lies under 1 Mohm, above which a
            // sound array may be anywhere (engineering judgement; the numbers of eq. 2 of
            // `detect/isolation/falling.rs`).
            const DUE_DECADES: f64 = 0.5;
            const DUE_BELOW_OHM: f64 = 1e6;
            let decades_to_it = (on.truth.insulation.0 / DUE_BELOW_OHM).log10();
            let days = 30.0 * decades_to_it.max(DUE_DECADES) / size;
            fault.evident = fault.began + hours(24.0 * days);
            fault.act = Act::IsolationFalls(size / 30.0);
        }
        _ => fault.act = Act::Ages(size),
    }
}

fn measuring(fault: &mut Fault, on: &DrawnPlant, draw: &mut Draw) -> Option<()> {
    let size = fault.size;
    let ends = |h: f64| Some(fault.began + hours(h));
    match fault.kind {
        "link_lost" => {
            fault.until = ends(size);
            fault.act = Act::Silent;
        }
        "value_frozen" => {
            fault.until = ends(size);
            fault.act = Act::Frozen(draw.chance(0.5));
            fault.input = Some(draw.whole(0, on.truth.inputs.len() as i64 - 1) as usize);
        }
        "value_impossible" => {
            fault.until = ends(size);
            fault.input = Some(draw.whole(0, on.truth.inputs.len() as i64 - 1) as usize);
            // What a full 16-bit register looks like: without a sign, and with one.
            fault.act = Act::Shows(draw.pick(&[6553.5, -3276.8]));
        }
        "clock_off" => {
            let sign = draw.pick(&[-1.0, 1.0]);
            fault.act = Act::Clock((sign * size * 60_000.0) as i64);
        }
        _ => {
            if on.sensing == Sensing::Nothing {
                return None;
            }
            let sign = draw.pick(&[-1.0, 1.0]);
            fault.act = Act::Sensor(1.0 + sign * size);
        }
    }
    Some(())
}

/// What was wrong from the first day.
fn wiring(fault: &mut Fault, on: &DrawnPlant, draw: &mut Draw) -> Option<()> {
    let inputs = &on.truth.inputs;
    let first = |k: usize| inputs[k].strings[0];
    fault.began = on.start;
    fault.evident = on.start;
    if fault.kind == "inputs_swapped" {
        let differ = |a: usize, b: usize| {
            first(a).plane != first(b).plane || inputs[a].strings.len() != inputs[b].strings.len()
        };
        let all = 0..inputs.len();
        let pairs: Vec<(usize, usize)> = all
            .clone()
            .flat_map(|a| all.clone().map(move |b| (a, b)))
            .filter(|(a, b)| a < b && differ(*a, *b))
            .collect();
        if pairs.is_empty() {
            return None;
        }
        let (a, b) = draw.pick(&pairs);
        fault.input = Some(a);
        fault.act = Act::Swapped(b);
    } else {
        let k = fault.input?;
        let fewer = inputs[k].strings.len() > 1 && draw.chance(0.5);
        fault.act = Act::MoreStrings(if fewer { -1 } else { 1 });
    }
    Some(())
}
