//! One inverter as it works now: each input beside what is expected, its state, its supply and the
//! mornings of its insulation.

use super::finding::{self, Brief};
use super::{fresh, in_english, rounded, utc};
use crate::store::{Store, StoreError};
use crate::web::Page;
use analysis::detect::{Gate, InputSlot, Slot};
use analysis::plant::{EventBit, Input, Inverter as Fixed, State};
use analysis::reading::{Place, Quantity, Span, Time};
use serde::Serialize;

/// Mornings of insulation that are shown.
const MORNINGS: usize = 14;
/// The last slot is looked for in so much of the past.
const LOOK_BACK: Span = Span::from_h(1);
/// Half width of the band that is shown, in standard deviations.
const BAND_SIGMAS: f64 = 2.0;

/// One inverter.
#[derive(Debug, Clone, Serialize)]
pub struct Inverter {
    pub id: String,
    pub rated_ac_w: f64,
    /// In trade words; `None` if it does not say.
    #[serde(serialize_with = "in_english::state")]
    pub state: Option<State>,
    /// Event bits that are set.
    #[serde(serialize_with = "in_english::events")]
    pub events: Vec<EventBit>,
    pub ac_power_w: Option<f64>,
    pub heatsink_temperature_degc: Option<f64>,
    pub power_limit_ratio: Option<f64>,
    pub inputs: Vec<InputNow>,
    /// From when to when what is compared was measured.
    pub slot_start_utc: Option<String>,
    pub slot_end_utc: Option<String>,
    pub limit: Option<&'static str>,
    pub supply: Supply,
    /// The latest last.
    pub mornings: Vec<MorningSeen>,
    pub findings: Vec<Brief>,
    #[serde(skip)]
    pub slot: Option<(Time, Time)>,
}

/// One input.
#[derive(Debug, Clone, Serialize)]
pub struct InputNow {
    pub input: u8,
    pub strings: Vec<StringNow>,
    /// The last values that were read.
    pub dc_voltage_v: Option<f64>,
    pub dc_current_a: Option<f64>,
    /// Means of the last slot beside what was expected of it.
    pub voltage: Compared,
    pub current: Compared,
    pub power: Compared,
    /// Why it was not tested, if it was not.
    #[serde(serialize_with = "in_english::gate")]
    pub gate: Gate,
    pub limit: Option<&'static str>,
}

/// Measured beside expected.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Compared {
    pub measured: Option<f64>,
    pub expected: Option<f64>,
    /// Expected minus and plus two standard deviations.
    pub low: Option<f64>,
    pub high: Option<f64>,
}

/// One string.
#[derive(Debug, Clone, Serialize)]
pub struct StringNow {
    pub label: String,
    pub module: String,
    pub count: u16,
    pub plane: String,
    pub dc_current_a: Option<f64>,
}

/// The supply, and the limits of its rules.
#[derive(Debug, Clone, Serialize)]
pub struct Supply {
    pub voltage_v: Vec<Option<f64>>,
    pub frequency_hz: Option<f64>,
    pub rules: String,
    pub nominal_v: f64,
    /// The mildest limits.
    pub lowest_v: Option<f64>,
    pub highest_v: Option<f64>,
    pub sustained_highest_v: Option<f64>,
}

/// A morning of insulation.
#[derive(Debug, Clone, Serialize)]
pub struct MorningSeen {
    pub at_utc: String,
    pub isolation_resistance_ohm: Option<f64>,
    pub is_wet: Option<bool>,
    pub is_low: bool,
    pub lost_min: u16,
    #[serde(skip)]
    pub at: Time,
}

/// The index of the inverter with a name.
pub fn index(page: &Page, id: &str) -> Option<usize> {
    let inverters = &page.site.plant.inverters;
    inverters
        .iter()
        .position(|inverter| inverter.id.as_str() == id)
}

/// The inverter with this index, now.
pub fn inverter(page: &Page, store: &Store, i: usize) -> Result<Inverter, StoreError> {
    let plant = &page.site.plant;
    let fixed = &plant.inverters[i];
    let now = page.clock.now();
    let slots = store.slots(now - LOOK_BACK, now + LOOK_BACK)?;
    let slot = slots.last();
    let own = |quantity| fresh(page, &fixed.id, Place::Device, quantity);
    let bits = own(Quantity::EventBits).unwrap_or_default();
    let lit = EVENTS.into_iter().filter(|bit| bit.is_set(bits));
    let mornings = store.mornings_of(i, MORNINGS)?;
    let mornings: Vec<MorningSeen> = mornings.iter().map(morning_seen).collect();
    let about = |answered: &&finding::Answered| answered.finding.subject.device == fixed.id;
    Ok(Inverter {
        id: fixed.id.to_string(),
        rated_ac_w: fixed.rated_ac.w(),
        state: own(Quantity::State).and_then(State::from_number),
        events: lit.collect(),
        ac_power_w: own(Quantity::AcPower),
        heatsink_temperature_degc: own(Quantity::HeatsinkTemperature),
        power_limit_ratio: own(Quantity::PowerLimit),
        inputs: inputs(page, fixed, i, slot),
        slot_start_utc: slot.map(|slot| utc(slot.start)),
        slot_end_utc: slot.map(|slot| utc(slot.start + slot.span)),
        limit: slot
            .and_then(|slot| slot.inverters[i].limit)
            .map(|limit| limit.name()),
        supply: supply(page, fixed),
        mornings,
        findings: finding::standing(store)?
            .iter()
            .filter(about)
            .map(|a| a.brief(now))
            .collect(),
        slot: slot.map(|slot| (slot.start, slot.start + slot.span)),
    })
}

fn inputs(page: &Page, fixed: &Fixed, i: usize, slot: Option<&Slot>) -> Vec<InputNow> {
    let numbered = fixed.inputs.iter().enumerate();
    numbered
        .map(|(k, input)| {
            let now = slot.map(|slot| &slot.inverters[i].inputs[k]);
            input_now(page, fixed, input, now)
        })
        .collect()
}

fn input_now(page: &Page, fixed: &Fixed, input: &Input, slot: Option<&InputSlot>) -> InputNow {
    let plant = &page.site.plant;
    let read = |quantity| fresh(page, &fixed.id, Place::Input(input.number), quantity);
    let expected = slot.and_then(|slot| slot.expected);
    let (voltage, current) = (
        slot.and_then(|slot| slot.voltage).map(|v| v.v()),
        slot.and_then(|slot| slot.current).map(|i| i.a()),
    );
    let power = voltage.zip(current).map(|(v, i)| v * i);
    let strings = input.strings.iter().zip(1..).map(|(string, k)| StringNow {
        label: string.label.clone(),
        module: plant.modules[string.module].id.clone(),
        count: string.count,
        plane: plant.planes[string.plane].id.clone(),
        dc_current_a: fresh(
            page,
            &fixed.id,
            Place::String(input.number, k),
            Quantity::DcCurrent,
        ),
    });
    InputNow {
        input: input.number,
        strings: strings.collect(),
        dc_voltage_v: read(Quantity::DcVoltage),
        dc_current_a: read(Quantity::DcCurrent),
        voltage: compared(
            voltage,
            expected.map(|e| (e.voltage.v(), e.sigma_voltage.v())),
            2,
        ),
        current: compared(
            current,
            expected.map(|e| (e.current.a(), e.sigma_current.a())),
            3,
        ),
        power: compared(
            power,
            expected.map(|e| ((e.voltage * e.current).w(), e.sigma_power.w())),
            1,
        ),
        gate: slot.map_or(Gate::NotMeasured, |slot| slot.gate),
        limit: slot.and_then(|slot| slot.limit).map(|limit| limit.name()),
    }
}

fn compared(measured: Option<f64>, expected: Option<(f64, f64)>, decimals: i32) -> Compared {
    let round = |number: f64| rounded(number, decimals);
    Compared {
        measured: measured.map(round),
        expected: expected.map(|(value, _)| round(value)),
        low: expected.map(|(value, sigma)| round((value - BAND_SIGMAS * sigma).max(0.0))),
        high: expected.map(|(value, sigma)| round(value + BAND_SIGMAS * sigma)),
    }
}

fn supply(page: &Page, fixed: &Fixed) -> Supply {
    let own = |quantity| fresh(page, &fixed.id, Place::Device, quantity);
    let phases = [
        Quantity::AcVoltageL1,
        Quantity::AcVoltageL2,
        Quantity::AcVoltageL3,
    ];
    let limits = &page.site.plant.site.grid_limits;
    Supply {
        voltage_v: phases
            .into_iter()
            .take(fixed.phases.into())
            .map(own)
            .collect(),
        frequency_hz: own(Quantity::Frequency),
        rules: limits.rules.clone(),
        nominal_v: limits.nominal_voltage.v(),
        lowest_v: limits.under_voltage.first().map(|limit| limit.limit.v()),
        highest_v: limits.over_voltage.first().map(|limit| limit.limit.v()),
        sustained_highest_v: limits.sustained_over_voltage.map(|v| v.v()),
    }
}

fn morning_seen(morning: &analysis::detect::Morning) -> MorningSeen {
    let ohm = |log10: f32| rounded(10f64.powf(f64::from(log10)), 0);
    MorningSeen {
        at_utc: utc(morning.at),
        isolation_resistance_ohm: morning.log10_ohm.map(ohm),
        is_wet: morning.is_wet,
        is_low: morning.is_low,
        lost_min: morning.lost_min,
        at: morning.at,
    }
}

const EVENTS: [EventBit; 18] = [
    EventBit::GroundFault,
    EventBit::DcOverVoltage,
    EventBit::AcDisconnect,
    EventBit::DcDisconnect,
    EventBit::GridDisconnect,
    EventBit::CabinetOpen,
    EventBit::ManualShutdown,
    EventBit::OverTemperature,
    EventBit::OverFrequency,
    EventBit::UnderFrequency,
    EventBit::AcOverVoltage,
    EventBit::AcUnderVoltage,
    EventBit::BlownStringFuse,
    EventBit::UnderTemperature,
    EventBit::MemoryLoss,
    EventBit::HardwareTestFailure,
    EventBit::MakersAlarm,
    EventBit::ArcDetected,
];
