//! What one input was expected to do in a slot, beside what it did.
//!
//! The engine runs twice over the same readings: once over all of them, so that it calibrates as it
//! would in the field, and once afresh for every day, so that it never can. A slot where both
//! expect the same has had no calibration yet.
//! Never in here: what a good share is.

use analysis::detect::{Gate, InputSlot, Slot};
use analysis::engine::{Engine, Input};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{Irradiance, Reading, SolarDay, Time};
use analysis::sky::{self, Observer};
use std::collections::BTreeMap;
use std::sync::Arc;

/// All readings of one time.
pub type Poll = (Time, Vec<Reading>);

/// What has a band.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Judged {
    /// Voltage at the peak.
    Voltage,
    /// Current at the peak.
    Current,
    /// Power at the peak.
    Power,
}

impl Judged {
    /// All of them, in the order of the arrays of [`Observation`].
    pub const ALL: [Judged; 3] = [Judged::Voltage, Judged::Current, Judged::Power];

    /// Symbol.
    pub fn symbol(self) -> &'static str {
        ["V", "I", "P"][self as usize]
    }
}

/// One input in one valid slot. Arrays are voltage [V], current [A], power [W].
#[derive(Debug, Clone, Copy)]
pub struct Observation {
    /// Middle of the slot.
    pub middle: Time,
    /// Day by the sun.
    pub day: SolarDay,
    /// Hour by the mean sun, 12 at noon [h].
    pub solar_h: f64,
    /// Inverter and input.
    pub input: (usize, usize),
    /// Plane of the input.
    pub plane: usize,
    /// Where the light came from.
    pub rung: WeatherRung,
    /// Whether the engine had learnt anything about this input by then.
    pub calibrated: bool,
    /// Irradiance that the engine took [W/m2].
    pub poa_w_m2: f64,
    /// Between sun and plane normal [deg].
    pub incidence_deg: f64,
    /// Diffuse part of the plane irradiance, by the engine's own split of a plane reading [-].
    pub diffuse_ratio: f64,
    /// Cell temperature that the engine took [degC].
    pub cell_degc: f64,
    /// Measured.
    pub measured: [f64; 3],
    /// Expected.
    pub expected: [f64; 3],
    /// One standard deviation of measured around expected, by the engine.
    pub sigma: [f64; 3],
}

impl Observation {
    /// (measured - expected) / sigma [-].
    pub fn z(&self, what: Judged) -> f64 {
        let n = what as usize;
        (self.measured[n] - self.expected[n]) / self.sigma[n]
    }

    /// Measured over expected [-].
    pub fn ratio(&self, what: Judged) -> f64 {
        self.measured[what as usize] / self.expected[what as usize]
    }
}

/// Expected voltage [V], current [A] and power [W], and one standard deviation of each.
fn expected_and_sigma(expected: &InputExpected) -> ([f64; 3], [f64; 3]) {
    let (v, a) = (expected.voltage.v(), expected.current.a());
    let (sigma_v, sigma_a) = (expected.sigma_voltage.v(), expected.sigma_current.a());
    ([v, a, v * a], [sigma_v, sigma_a, expected.sigma_power.w()])
}

/// All valid, healthy slots of all inputs, before and after calibration.
///
/// `is_healthy`: whether an input is to be judged in a slot; the engine's own gate comes on top.
pub fn observe(
    plant: &Arc<Plant>,
    polls: &[Poll],
    is_healthy: impl Fn(&Slot, (usize, usize)) -> bool,
) -> Vec<Observation> {
    let longitude_deg = plant.site.longitude.deg();
    let same_day =
        |a: &Poll, b: &Poll| a.0.solar_day(longitude_deg) == b.0.solar_day(longitude_deg);
    let days = polls.chunk_by(same_day);
    let afresh = days.flat_map(|day| run(plant, day));
    let afresh: BTreeMap<Time, Slot> = afresh.map(|slot| (slot.start, slot)).collect();
    let mut seen = Vec::new();
    for slot in run(plant, polls) {
        let Some(first) = afresh.get(&slot.start) else {
            continue;
        };
        for (i, inverter) in slot.inverters.iter().enumerate() {
            for k in 0..inverter.inputs.len() {
                if !is_healthy(&slot, (i, k)) {
                    continue;
                }
                let of = |slot: &Slot| slot.inverters[i].inputs[k];
                let (now, datasheet) = (of(&slot), of(first));
                seen.extend(observation(plant, first, (i, k), &datasheet, false));
                if now.expected != datasheet.expected {
                    seen.extend(observation(plant, &slot, (i, k), &now, true));
                }
            }
        }
    }
    seen
}

/// The slots of a fresh engine.
pub fn run(plant: &Arc<Plant>, polls: &[Poll]) -> Vec<Slot> {
    let mut engine = Engine::new(plant.clone()).expect("the plant can be modelled");
    let mut slots = Vec::new();
    for (at, readings) in polls {
        for reading in readings {
            engine.step(Input::Reading(*reading));
        }
        slots.extend(engine.step(Input::Tick(*at)).slots);
    }
    if let Some((last, _)) = polls.last() {
        let end = *last + plant.timing.slot;
        slots.extend(engine.step(Input::End(end)).slots);
    }
    slots
}

fn observation(
    plant: &Plant,
    slot: &Slot,
    input: (usize, usize),
    said: &InputSlot,
    calibrated: bool,
) -> Option<Observation> {
    if said.gate != Gate::Valid {
        return None;
    }
    let p = plant.inverters[input.0].inputs[input.1].plane();
    let (poa, rung) = slot.planes[p].poa?;
    let (v, a) = (said.voltage?.v(), said.current?.a());
    let (expected, sigma) = expected_and_sigma(&said.expected?);
    let middle = slot.start + slot.span.half();
    let (incidence_deg, diffuse_ratio) = light(plant, p, middle, poa);
    Some(Observation {
        middle,
        day: middle.solar_day(plant.site.longitude.deg()),
        solar_h: solar_h(middle, plant.site.longitude.deg()),
        input,
        plane: p,
        rung,
        calibrated,
        poa_w_m2: poa.w_m2(),
        incidence_deg,
        diffuse_ratio,
        cell_degc: slot.planes[p].cell?.degc(),
        measured: [v, a, v * a],
        expected,
        sigma,
    })
}

/// Incidence [deg] and diffuse part [-].
fn light(plant: &Plant, p: usize, middle: Time, poa: Irradiance) -> (f64, f64) {
    let site = &plant.site;
    let observer = Observer::new(site.latitude, site.longitude, site.altitude_m);
    let sun = sky::sun_position(middle, &observer);
    let plane = &plant.planes[p];
    let split = sky::split_plane_irradiance(poa, middle, &sun, plane);
    let beam_ratio = split.beam.w_m2() / poa.w_m2();
    (sky::incidence(&sun, plane).deg(), 1.0 - beam_ratio)
}

fn solar_h(at: Time, longitude_deg: f64) -> f64 {
    (at.unix_ms() as f64 / 3_600_000.0 + longitude_deg / 15.0).rem_euclid(24.0)
}
