//! What the devices of a drawn plant show at any time.
//!
//! Model:   clear sky of the true turbidity x clouds; beam, diffuse light by the true sky and
//!          ground light on every plane; heat with the true coefficients and wind, slow; strings
//!          with their own current and voltage; the tracker a little off the peak; meters with
//!          gain and noise.
//! Range:   instants in the middle of slots, sun at least `LOWEST_SUN_DEG` up.
//! Source:  own, with `analysis::sky` and `analysis::array`.
//! Check:   tests/acceptance/coverage.rs, a plant without errors.

use super::errors::{METER_CURRENT_NOISE, METER_VOLTAGE_NOISE, SENSOR_NOISE_W_M2, TRACKER_VOLTAGE};
use super::{Errors, STEP, Sensors, known};
use crate::coverage::Poll;
use crate::plant::{EFFICIENCY_RATIO, NORTH, START, World, normal};
use analysis::array::{InputCurve, ModuleModel, cell_from_back, faiman, fit_datasheet};
use analysis::plant::{Mounting, Plant, State};
use analysis::reading::{
    Channel, DeviceId, Irradiance, Place, Quantity, Reading, Span, Speed, Temperature, Time, Value,
    Voltage,
};
use analysis::sky::{self, Components, DiffuseModifiers, Observer, SkyModel, SunPosition};
use std::sync::Arc;

/// Sun elevation under which nothing is published [deg]; tests of arrays begin higher.
const LOWEST_SUN_DEG: f64 = 4.0;

/// A plant, and the truth about it.
#[derive(Debug, Clone)]
pub struct DrawnPlant {
    plant: Arc<Plant>,
    errors: Errors,
    world: World,
    observer: Observer,
    module: ModuleModel,
    /// By plane.
    diffuse: Vec<DiffuseModifiers>,
    seed: u64,
}

fn day_of(at: Time) -> i64 {
    (at - START).ms().div_euclid(86_400_000)
}

/// Light on one plane, all and what reaches the cells [W/m2].
struct Lit {
    poa: f64,
    effective: f64,
}

impl DrawnPlant {
    /// The plant of this seed.
    pub fn new(seed: u64, sensors: Sensors) -> Self {
        Self::with(seed, Errors::new(seed), sensors)
    }

    /// The same plant without its errors.
    pub fn without_errors(seed: u64, sensors: Sensors) -> Self {
        Self::with(seed, Errors::none(seed), sensors)
    }

    fn with(seed: u64, errors: Errors, sensors: Sensors) -> Self {
        let plant = known(&errors, sensors);
        let site = &plant.site;
        let module = fit_datasheet(&plant.modules[0]).expect("the datasheet can be fitted");
        Self {
            observer: Observer::new(site.latitude, site.longitude, site.altitude_m),
            world: World {
                seed,
                cloudiness: errors.cloudiness(),
                air_degc: errors.air_degc,
                ..World::fair()
            },
            module: module.model,
            diffuse: plant
                .planes
                .iter()
                .map(|plane| sky::diffuse_modifiers(plane.tilt))
                .collect(),
            plant: Arc::new(plant),
            errors,
            seed,
        }
    }

    /// What is known of it.
    pub fn plant(&self) -> &Arc<Plant> {
        &self.plant
    }

    /// What is published on its first days.
    pub fn polls(&self, days: i64) -> Vec<Poll> {
        let from = START + Span::from_h(24 * self.errors.first_day);
        let steps = (0..days * 288).map(|n| from + STEP * n + STEP.half());
        steps.filter_map(|at| self.poll(at)).collect()
    }

    fn poll(&self, at: Time) -> Option<Poll> {
        let sun = sky::sun_position(at, &self.observer);
        if 90.0 - sun.apparent_zenith.deg() < LOWEST_SUN_DEG {
            return None;
        }
        let mut readings = Vec::new();
        self.mast(at, &sun, &mut readings);
        self.inverter(at, &sun, &mut readings);
        Some((at, readings))
    }

    /// Light on the ground, as the clouds of another time would leave it.
    fn sky(&self, at: Time, clouds_at: Time, sun: &SunPosition) -> Components {
        let day = day_of(at);
        let known = self.plant.site.linke_turbidity[0];
        let turbidity = self.errors.turbidity(known, day);
        let clear = sky::clear_sky(at, sun, &self.observer, turbidity);
        let clearness = self.world.clearness(clouds_at);
        // A cloud takes the beam first and gives part of it back as diffuse light.
        let beam_ratio = ((clearness - 0.3) / 0.7).max(0.0);
        let by = |light: Irradiance, ratio: f64| Irradiance::from_w_m2(light.w_m2() * ratio);
        sky::close_with_dni(by(clear.ghi, clearness), by(clear.dni, beam_ratio), sun)
    }

    fn lit(&self, p: usize, light: &Components, at: Time, sun: &SunPosition) -> Lit {
        let plane = &self.plant.planes[p];
        let model = if self.errors.same_sky {
            SkyModel::Perez
        } else {
            SkyModel::HayDavies
        };
        let DiffuseModifiers { sky, ground } = self.diffuse[p];
        let cos = sky::incidence(sun, plane).rad().cos().max(0.0);
        let beam = light.dni.w_m2() * cos;
        let diffuse = model
            .diffuse(light, sky::extraterrestrial(at), sun, plane)
            .w_m2()
            * self
                .errors
                .sky_of_hour(p, (at - START).ms().div_euclid(3_600_000));
        let albedo = (plane.albedo_ratio + self.errors.albedo).max(0.0);
        let reflected = light.ghi.w_m2() * albedo * (1.0 - plane.tilt.rad().cos()) / 2.0;
        Lit {
            poa: beam + diffuse + reflected,
            effective: beam * sky::incidence_modifier_at(cos) + diffuse * sky + reflected * ground,
        }
    }

    fn mast(&self, at: Time, sun: &SunPosition, readings: &mut Vec<Reading>) {
        let light = self.sky(at, at, sun);
        let irradiance = |n: usize, w_m2: f64| {
            let noise = SENSOR_NOISE_W_M2 * self.noise(at, 10 + n as u64);
            w_m2 * self.errors.sensor_gain[n] + self.errors.sensor_offset_w_m2 + noise
        };
        let poa = self.lit(NORTH, &light, at, sun).poa;
        let remembered = self.world.remembered_clearness(at) / self.world.clearness(at);
        let values = [
            (Quantity::Poa, irradiance(0, poa)),
            (Quantity::Ghi, irradiance(1, light.ghi.w_m2())),
            (Quantity::Dhi, irradiance(2, light.dhi.w_m2())),
            (
                Quantity::AirTemperature,
                self.world.air_degc(at) + self.errors.air_k,
            ),
            (Quantity::WindSpeed, self.errors.wind_m_s),
            (
                Quantity::ModuleTemperature,
                self.back(NORTH, poa * remembered, at).degc() + self.errors.back_k,
            ),
        ];
        for (quantity, value) in values {
            self.publish("mast", Place::Device, quantity, value, at, readings);
        }
    }

    fn inverter(&self, at: Time, sun: &SunPosition, readings: &mut Vec<Reading>) {
        let mut dc_w = 0.0;
        for (k, input) in self.plant.inverters[0].inputs.iter().enumerate() {
            let (volts, amps) = self.at_work(k, at, sun).unwrap_or((0.0, 0.0));
            let (volt_gain, amp_gain) = self.errors.meters(k);
            let noise = |what: usize| self.noise(at, (30 + 10 * k + what) as u64);
            dc_w += volts * amps;
            let volts = volts * volt_gain * (1.0 + METER_VOLTAGE_NOISE * noise(1));
            let amps = amps * amp_gain * (1.0 + METER_CURRENT_NOISE * noise(2));
            let place = Place::Input(input.number);
            self.publish("inv-1", place, Quantity::DcVoltage, volts, at, readings);
            self.publish("inv-1", place, Quantity::DcCurrent, amps, at, readings);
        }
        let state = f64::from(State::Tracking as u8);
        let ac_w = dc_w * EFFICIENCY_RATIO;
        for (quantity, value) in [(Quantity::AcPower, ac_w), (Quantity::State, state)] {
            self.publish("inv-1", Place::Device, quantity, value, at, readings);
        }
    }

    /// True voltage [V] and current [A] of an input; `None` where it is too dark for the model.
    fn at_work(&self, k: usize, at: Time, sun: &SunPosition) -> Option<(f64, f64)> {
        let input = &self.plant.inverters[0].inputs[k];
        let lag = Span::from_ms((1000.0 * self.errors.lag_s(k)) as i64);
        let light = self.sky(at, at + lag, sun);
        let lit = self.lit(input.plane(), &light, at, sun);
        // Modules are slow to warm.
        let clouds = (
            self.world.clearness(at + lag),
            self.world.remembered_clearness(at + lag),
        );
        let cell = self.cell(input.plane(), lit.poa * clouds.1 / clouds.0, at);
        let mut strings = Vec::new();
        let mut voltage_ratio = 0.0;
        for (s, string) in input.strings.iter().enumerate() {
            let (current, voltage) = self.errors.string(k, s);
            let current = current * self.errors.light_of_day(day_of(at));
            voltage_ratio += voltage / input.strings.len() as f64;
            let seen = Irradiance::from_w_m2(lit.effective * current);
            let module = self.module.at(seen, cell).ok()?;
            strings.push(module.in_series(string.count, string.cable_loop));
        }
        let curve = InputCurve::new(&strings).ok()?;
        let off_peak = 1.0 + TRACKER_VOLTAGE * self.noise(at, (30 + 10 * k) as u64);
        let volts = curve.max_power().voltage.v() * off_peak;
        let amps = curve.current_at(Voltage::from_v(volts)).a();
        Some((volts * voltage_ratio, amps))
    }

    fn mounting(&self, p: usize) -> Mounting {
        let known = &self.plant.planes[p].mounting;
        let [u0, u1] = self.errors.heat_loss;
        Mounting {
            u0: known.u0 * u0,
            u1: known.u1 * u1,
            cell_over_back_k: known.cell_over_back_k + self.errors.cell_over_back_k,
        }
    }

    fn back(&self, p: usize, poa_w_m2: f64, at: Time) -> Temperature {
        let poa = Irradiance::from_w_m2(poa_w_m2);
        let air = Temperature::from_degc(self.world.air_degc(at));
        let wind = Speed::from_m_s(self.errors.wind_m_s * self.errors.wind_ratio);
        faiman(poa, air, wind, &self.mounting(p))
    }

    fn cell(&self, p: usize, poa_w_m2: f64, at: Time) -> Temperature {
        let poa = Irradiance::from_w_m2(poa_w_m2);
        cell_from_back(self.back(p, poa_w_m2, at), poa, &self.mounting(p))
    }

    fn noise(&self, at: Time, what: u64) -> f64 {
        normal(self.seed.wrapping_add(what << 32), at.unix_ms() as u64)
    }

    fn publish(
        &self,
        device: &str,
        place: Place,
        quantity: Quantity,
        value: f64,
        at: Time,
        readings: &mut Vec<Reading>,
    ) {
        let channel = Channel {
            device: DeviceId::new(device),
            place,
            quantity,
        };
        let id = self.plant.channels.id(&channel);
        readings.extend(id.map(|channel| Reading {
            channel,
            at,
            value: Value::judge(quantity, value),
        }));
    }
}
