//! What the devices of a synthetic plant publish at any time.
//!
//! Model:   clear sky x clouds, transposed into each plane; one-diode strings with their own share
//!          of the light; the inverter sits at the peak, or right of it where it may not pass all on.
//! Range:   the ranges of `sky` and `array`.
//! Source:  `analysis::sky` and `analysis::array`, whose own tests compare them with other people's
//!          numbers: this shows what the engine makes of readings, not that the physics is right.
//! Check:   none needed; every value depends on the time and the seed alone.

use super::fed::{Fed, operate};
use super::noise::{normal, uniform};
use super::{EFFICIENCY_RATIO, START, What, World};
use analysis::array::{InputCurve, ModuleModel, cell_from_back, faiman, fit_datasheet};
use analysis::plant::{EventBit, Inverter, Plane, Plant, PvString, State};
use analysis::reading::{
    Channel, ChannelId, DeviceId, Irradiance, Place, Quantity, Reading, Resistance, Speed,
    Temperature, Time, Value,
};
use analysis::sky::{self, Components, Observer, PlaneIrradiance};
use std::collections::BTreeMap;
use std::sync::Arc;

/// Light under which no inverter starts [W/m2].
const DAWN_W_M2: f64 = 15.0;
/// What dirt lets through, roughly; what the glass does of diffuse light, and how glass takes oblique
/// beam (Martin and Ruiz; the program under test computes it by another model) [-].
const THROUGH_DIRT_RATIO: f64 = 0.98;
const DIFFUSE_THROUGH_GLASS_RATIO: f64 = 0.955;
const GLASS_AR: f64 = 0.16;
/// Strings differ by up to this much [-].
const MISMATCH_RATIO: f64 = 0.015;
const WIND_M_S: f64 = 1.5;
/// Insulation of an array with water in it [ohm].
const WET_OHM: f64 = 19_000.0;
/// Current to earth of a sound array [A].
const RESIDUAL_A: f64 = 0.02;
/// Light that modules miss beside the others of their string, from which they are passed by [-].
const PASSED_BY_FROM: f64 = 0.12;
/// Noise of the meters (one standard deviation): current, voltage [-]; irradiance [W/m2].
const CURRENT_NOISE_RATIO: f64 = 0.005;
const VOLTAGE_NOISE_RATIO: f64 = 0.002;
const POA_NOISE_W_M2: f64 = 1.5;
/// Voltage of the supply, phase to neutral [V], and a heat sink that is cool [degC].
const SUPPLY_V: f64 = 241.0;
const COOL_DEGC: f64 = 45.0;

/// A synthetic plant at work.
#[derive(Debug, Clone)]
pub struct Twin {
    plant: Arc<Plant>,
    world: World,
    observer: Observer,
    modules: Vec<ModuleModel>,
    channels: BTreeMap<ChannelId, Channel>,
}

/// What an inverter may pass on, and what it publishes of that.
struct Output {
    most_ac_w: f64,
    commanded_ratio: f64,
    reactive_var: f64,
    heatsink_degc: f64,
    supply_v: f64,
}

/// Weather at one time.
struct Now {
    at: Time,
    /// Azimuth and elevation of the sun [deg].
    sun_deg: (f64, f64),
    air_degc: f64,
    ground: Components,
    planes: Vec<PlaneIrradiance>,
    /// What gets through the glass of each plane, as light at normal incidence [W/m2].
    through_glass: Vec<f64>,
    /// Share of beam in that [-].
    beam_share: Vec<f64>,
    /// The light of the last half hour, as modules remember it, over that of now [-].
    remembered_ratio: f64,
}

impl Twin {
    /// A plant in a world.
    pub fn new(plant: Arc<Plant>, world: World) -> Self {
        let site = &plant.site;
        let observer = Observer::new(site.latitude, site.longitude, site.altitude_m);
        let model = |module| {
            fit_datasheet(module)
                .expect("the datasheet can be fitted")
                .model
        };
        let modules = plant.modules.iter().map(model).collect();
        let channels = plant.channels.iter().map(|(id, c)| (id, c.clone()));
        let channels = channels.collect();
        Self {
            plant,
            world,
            observer,
            modules,
            channels,
        }
    }

    /// What all devices that answer publish at this time.
    pub fn poll(&self, at: Time) -> Vec<Reading> {
        let now = self.weather(at);
        let silent = |who| {
            let what = |what| matches!(what, What::Silent(silent) if silent == who);
            self.world.now(at).any(what)
        };
        let mut readings = Vec::new();
        for i in (0..self.plant.inverters.len()).filter(|i| !silent(Some(*i))) {
            self.inverter(i, &now, &mut readings);
        }
        self.feed_in(at, &mut readings);
        if !silent(None) {
            self.mast(&now, &mut readings);
        }
        readings
    }

    /// What the network does, and what the export of all inverters that answer does to it.
    fn feed_in(&self, at: Time, readings: &mut Vec<Reading>) {
        let network = &self.world.network;
        let quantity = |r: &Reading| self.channels[&r.channel].quantity;
        let nominal_v = self.plant.site.grid_limits.nominal_voltage.v();
        let powers = readings
            .iter()
            .filter(|r| quantity(r) == Quantity::AcPower)
            .filter_map(|r| r.value.good());
        let amps = powers.sum::<f64>() / 3.0 / nominal_v;
        for reading in readings.iter_mut() {
            let phase = match quantity(reading) {
                Quantity::AcVoltageL1 => 0,
                Quantity::AcVoltageL2 => 1,
                Quantity::AcVoltageL3 => 2,
                _ => continue,
            };
            // A phase that is away stays away.
            if let Value::Good(volts) = reading.value
                && volts > 50.0
            {
                let more = network.volts(&self.world, at, phase, amps);
                reading.value = Value::Good(volts + more);
            }
        }
        if network.publishes_current {
            let currents = readings.iter().filter_map(|r| self.phase_current(r));
            let currents: Vec<Reading> = currents.flatten().collect();
            readings.extend(currents);
        }
    }

    fn phase_current(&self, power: &Reading) -> Option<Vec<Reading>> {
        let channel = &self.channels[&power.channel];
        if channel.quantity != Quantity::AcPower {
            return None;
        }
        let amps = power.value.good()? / 3.0 / self.plant.site.grid_limits.nominal_voltage.v();
        let phases = [
            Quantity::AcCurrentL1,
            Quantity::AcCurrentL2,
            Quantity::AcCurrentL3,
        ];
        let reading = |quantity| {
            let of = Channel {
                quantity,
                ..channel.clone()
            };
            Some(Reading {
                channel: self.plant.channels.id(&of)?,
                value: Value::Good(amps),
                ..*power
            })
        };
        phases.into_iter().map(reading).collect()
    }

    fn weather(&self, at: Time) -> Now {
        let sun = sky::sun_position(at, &self.observer);
        let turbidity = self.plant.site.linke_turbidity[0];
        let mut light = sky::clear_sky(at, &sun, &self.observer, turbidity);
        // A cloud takes the beam first and gives part of it back as diffuse light.
        let clearness = self.world.clearness(at);
        if sun.is_up() && clearness < 1.0 {
            let by = |light: Irradiance, share: f64| Irradiance::from_w_m2(light.w_m2() * share);
            let beam = ((clearness - 0.3) / 0.7).max(0.0);
            light = sky::close_with_dni(by(light.ghi, clearness), by(light.dni, beam), &sun);
        }
        let plane = |plane| sky::plane_irradiance(&light, at, &sun, plane);
        let planes: Vec<PlaneIrradiance> = self.plant.planes.iter().map(plane).collect();
        let beam = |(plane, light): (&Plane, &PlaneIrradiance)| {
            let incidence = sky::incidence(&sun, plane);
            light.beam.w_m2() * sky::martin_ruiz_modifier(incidence, GLASS_AR)
        };
        let through = |(plane, light): (&Plane, &PlaneIrradiance)| {
            let diffuse = light.sky_diffuse.w_m2() + light.ground.w_m2();
            beam((plane, light)) + DIFFUSE_THROUGH_GLASS_RATIO * diffuse
        };
        let lit = || self.plant.planes.iter().zip(&planes);
        let through_glass: Vec<f64> = lit().map(through).collect();
        let share = |(beam, all): (f64, &f64)| if *all > 0.0 { beam / all } else { 0.0 };
        Now {
            at,
            sun_deg: (sun.azimuth.deg(), 90.0 - sun.apparent_zenith.deg()),
            beam_share: lit().map(beam).zip(&through_glass).map(share).collect(),
            air_degc: self.world.air_degc(at),
            remembered_ratio: self.world.remembered_clearness(at) / clearness,
            through_glass,
            ground: light,
            planes,
        }
    }

    fn mast(&self, now: &Now, readings: &mut Vec<Reading>) {
        let mast = &self.plant.weather[0];
        let noise = POA_NOISE_W_M2 * self.noise(now.at, 1000);
        if let Some(p) = mast.plane {
            let poa = now.planes[p].total().w_m2() * self.world.sensor_ratio(now.at) + noise;
            let shown = self.world.now(now.at).find_map(|what| match what {
                What::SensorShows(w_m2) => Some(w_m2),
                _ => None,
            });
            self.publish(
                &mast.id,
                Place::Device,
                Quantity::Poa,
                shown.unwrap_or(poa),
                now,
                readings,
            );
        }
        let air = now.air_degc + self.world.air_error_k;
        for (quantity, value) in [
            (Quantity::Ghi, now.ground.ghi.w_m2()),
            (Quantity::Dni, now.ground.dni.w_m2()),
            (Quantity::AirTemperature, air),
            (Quantity::WindSpeed, WIND_M_S),
        ] {
            self.publish(&mast.id, Place::Device, quantity, value, now, readings);
        }
        if self.world.measures_water {
            let rain_mm = self.world.rain_mm_per_h(now.at) * mast.every.hours();
            for (quantity, value) in [
                (
                    Quantity::RelativeHumidity,
                    self.world.humidity_ratio(now.at),
                ),
                (Quantity::Rain, rain_mm),
            ] {
                self.publish(&mast.id, Place::Device, quantity, value, now, readings);
            }
        }
    }

    fn inverter(&self, i: usize, now: &Now, readings: &mut Vec<Reading>) {
        let inverter = &self.plant.inverters[i];
        let curves: Vec<Option<InputCurve>> = (0..inverter.inputs.len())
            .map(|k| self.curve(i, k, now))
            .collect();
        let state = self.state(i, now, &curves);
        if state == State::Sleeping && !self.world.answers_at_night {
            return;
        }
        let inputs = inverter.inputs.iter().zip(curves).enumerate();
        let inputs: Vec<Fed> = inputs
            .map(|(k, (input, curve))| {
                let at = self.world.now(now.at).find_map(|what| match what {
                    What::OffPeak(who, ratio) if who == (i, k) => Some(ratio),
                    _ => None,
                });
                Fed::new(inverter, input, curve, at.unwrap_or(1.0))
            })
            .collect();
        let output = self.output(i, now.at);
        let points = operate(&inputs, state, output.most_ac_w / EFFICIENCY_RATIO);
        let open_v = points.first().map_or(0.0, |p| p.0);
        let mut dc_w = 0.0;
        for (k, (volts, amps)) in points.into_iter().enumerate() {
            let channel = (i * 100 + k * 10) as u64;
            let volts = volts * self.voltage_left(i, k, now.at);
            let volts = volts * (1.0 + VOLTAGE_NOISE_RATIO * self.noise(now.at, channel));
            let amps = amps * (1.0 + CURRENT_NOISE_RATIO * self.noise(now.at, channel + 1));
            dc_w += volts * amps;
            let place = Place::Input(inverter.inputs[k].number);
            self.publish(
                &inverter.id,
                place,
                Quantity::DcVoltage,
                volts,
                now,
                readings,
            );
            self.publish(
                &inverter.id,
                place,
                Quantity::DcCurrent,
                amps,
                now,
                readings,
            );
        }
        let converts = self.world.now(now.at).filter_map(|what| match what {
            What::Converts(who, ratio) if who == i => Some(ratio),
            _ => None,
        });
        let efficiency_ratio = EFFICIENCY_RATIO * converts.product::<f64>();
        let ac_w = (dc_w * efficiency_ratio).min(output.most_ac_w);
        self.publish_device(i, now, state, (ac_w, open_v, &output), readings);
    }

    fn publish_device(
        &self,
        i: usize,
        now: &Now,
        state: State,
        (ac_w, first_v, output): (f64, f64, &Output),
        readings: &mut Vec<Reading>,
    ) {
        let inverter = &self.plant.inverters[i];
        let mut bits = 0_u32;
        let (mut ohm, mut leaks_a) = (
            self.insulation_ohm(i, now.at, state == State::Sleeping),
            RESIDUAL_A,
        );
        // Poles of an idle array float about the middle where nothing holds them.
        let mut from_negative = 0.5;
        for what in self.world.now(now.at) {
            match what {
                What::Leaks(who) if who == i => {
                    ohm = WET_OHM;
                    bits |= 1 << EventBit::GroundFault as u32;
                }
                What::LeaksWithoutBit(who, told) if who == i => ohm = told,
                What::FaultAt(who, at) if who == i => from_negative = at,
                What::ResidualCurrent(who, amps) if who == i => leaks_a = amps,
                What::Tripped(who, Some(bit)) | What::Shows(who, bit) if who == i => {
                    bits |= 1 << bit as u32;
                }
                _ => {}
            }
        }
        let phase = |n: u64| output.supply_v + 0.3 * self.noise(now.at, 200 + i as u64 * 10 + n);
        let values = [
            (Quantity::AcPower, ac_w),
            (Quantity::AcReactivePower, output.reactive_var),
            (Quantity::AcVoltageL1, phase(1)),
            (Quantity::AcVoltageL2, phase(2)),
            (Quantity::AcVoltageL3, phase(3)),
            (Quantity::Frequency, 50.0 + 0.01 * self.noise(now.at, 300)),
            (Quantity::State, f64::from(state as u8)),
            (Quantity::EventBits, f64::from(bits)),
            (Quantity::IsolationResistance, ohm),
            (Quantity::ResidualCurrent, leaks_a),
            (Quantity::PvPlusToEarth, (1.0 - from_negative) * first_v),
            (Quantity::PvMinusToEarth, -from_negative * first_v),
            (Quantity::PowerLimit, output.commanded_ratio),
            (Quantity::HeatsinkTemperature, output.heatsink_degc),
        ];
        for (quantity, value) in values {
            self.publish(&inverter.id, Place::Device, quantity, value, now, readings);
        }
    }

    /// What was measured last: at the first light, or once more after the array had dried.
    fn insulation_ohm(&self, i: usize, at: Time, sleeping: bool) -> f64 {
        const NOON_H: f64 = 12.0;
        let hours = (at - START).hours();
        let (today, hour) = (hours.div_euclid(24.0) as i64, hours.rem_euclid(24.0));
        let is_before_light = sleeping && hour < NOON_H;
        let day = if is_before_light { today - 1 } else { today };
        let is_wet = self.world.is_wet_morning(day);
        let first = self.world.insulation_ohm(i, day, is_wet);
        let limit = self.plant.inverters[i].isolation_limit.ohm();
        let has_dried = is_before_light || !self.world.is_wet(at);
        if is_wet && first < limit && has_dried {
            self.world.insulation_ohm(i, day, false)
        } else {
            first
        }
    }

    /// The curve of an input; `None` in the dark and where nothing is connected.
    fn curve(&self, i: usize, k: usize, now: &Now) -> Option<InputCurve> {
        let input = &self.plant.inverters[i].inputs[k];
        let (mut open, mut through, mut more_ohm) = (0, 1.0, 0.0);
        for what in self.world.now(now.at) {
            match what {
                What::StringsOpen { input, count } if input == (i, k) => open = count,
                What::Covered(who, ratio) if who == i => through = ratio,
                What::Dimmed(input, ratio) if input == (i, k) => through = ratio,
                What::JointInString(input, ohm) if input == (i, k) => more_ohm = ohm,
                _ => {}
            }
        }
        let (azimuth_deg, elevation_deg) = now.sun_deg;
        let mut passed_by = 0;
        for obstacle in &self.world.obstacles {
            if obstacle.input == (i, k) && obstacle.hides(now.at, azimuth_deg, elevation_deg) {
                let beam_share = now.beam_share[input.plane()];
                match obstacle.modules {
                    None => through *= 1.0 - obstacle.takes * beam_share,
                    // The more a few modules get less than the others, the sooner they are passed by.
                    Some(modules) if obstacle.takes * beam_share > PASSED_BY_FROM => {
                        passed_by = modules;
                    }
                    Some(_) => {}
                }
            }
        }
        let strings: Vec<_> = (0..)
            .zip(&input.strings)
            .skip(usize::from(open))
            .filter_map(|(s, string)| {
                let mismatch = uniform(self.world.seed, (i * 1000 + k * 100 + s) as u64);
                let left = through * self.world.left(now.at);
                let share = left * (1.0 - MISMATCH_RATIO * mismatch);
                let cable_loop = Resistance::from_ohm(string.cable_loop.ohm() + more_ohm);
                let string = PvString {
                    cable_loop,
                    ..string.clone()
                };
                self.string(&string, passed_by, share, now)
            })
            .collect();
        InputCurve::new(&strings).ok()
    }

    /// Share of an input's voltage that lost sections leave.
    fn voltage_left(&self, i: usize, k: usize, at: Time) -> f64 {
        let lost = |what| match what {
            What::VoltageLost(input, ratio) if input == (i, k) => Some(ratio),
            _ => None,
        };
        1.0 - self.world.now(at).find_map(lost).unwrap_or(0.0)
    }

    fn string(
        &self,
        string: &PvString,
        passed_by: u16,
        share: f64,
        now: &Now,
    ) -> Option<analysis::array::Curve> {
        let poa = now.planes[string.plane].total();
        let mounting = &self.plant.planes[string.plane].mounting;
        let air = Temperature::from_degc(now.air_degc);
        let heating = Irradiance::from_w_m2(poa.w_m2() * now.remembered_ratio);
        let back = faiman(heating, air, Speed::from_m_s(WIND_M_S), mounting);
        let cell = cell_from_back(back, heating, mounting);
        let through_glass = now.through_glass[string.plane];
        let seen = Irradiance::from_w_m2(through_glass * THROUGH_DIRT_RATIO * share);
        // Too little light for the model is no light.
        let module = self.modules[string.module].at(seen, cell).ok()?;
        Some(module.in_series(string.count - passed_by, string.cable_loop))
    }

    fn state(&self, i: usize, now: &Now, curves: &[Option<InputCurve>]) -> State {
        let light = |p: &PlaneIrradiance| p.total().w_m2();
        let brightest = now.planes.iter().map(light).fold(0.0, f64::max);
        if brightest < DAWN_W_M2 || curves.iter().all(Option::is_none) {
            return State::Sleeping;
        }
        let stop = self.world.now(now.at).find_map(|what| match what {
            What::Tripped(who, _) | What::Leaks(who) | What::LeaksWithoutBit(who, _)
                if who == i =>
            {
                Some(State::Fault)
            }
            What::Stopped(who) if who == i => Some(State::Off),
            _ => None,
        });
        let limit = self.plant.inverters[i].isolation_limit.ohm();
        let waits = self.world.is_wet(now.at) && self.insulation_ohm(i, now.at, false) < limit;
        stop.unwrap_or(if waits { State::Fault } else { State::Tracking })
    }

    /// What the world lets an inverter pass on, and what it shows of it.
    fn output(&self, i: usize, at: Time) -> Output {
        let inverter: &Inverter = &self.plant.inverters[i];
        let (mut commanded_ratio, mut held_ratio, mut reactive_ratio) = (1.0, 1.0, 0.0);
        let (mut supply_v, mut heatsink_degc) = (SUPPLY_V, COOL_DEGC);
        for what in self.world.now(at) {
            match what {
                What::SupplyHigher(more) => supply_v += more,
                What::Commanded(who, ratio) if who == i => commanded_ratio = ratio,
                What::HeldBack(who, ratio) if who == i => held_ratio = ratio,
                What::Reactive(who, ratio) if who == i => reactive_ratio = ratio,
                What::Hot(who, degc) if who == i => heatsink_degc = degc,
                _ => {}
            }
        }
        let mut most_ratio = f64::min(commanded_ratio, held_ratio).min(1.0);
        if let [from, to] = self.plant.site.grid_limits.volt_watt.as_slice() {
            let width_v = to.voltage.v() - from.voltage.v();
            let along = ((supply_v - from.voltage.v()) / width_v).clamp(0.0, 1.0);
            let drop = from.power_ratio - to.power_ratio;
            most_ratio = most_ratio.min(from.power_ratio - along * drop);
        }
        if let Some(derating) = inverter.derating {
            let above_k = (heatsink_degc - derating.from.degc()).max(0.0);
            most_ratio = most_ratio.min(1.0 - above_k * derating.ratio_per_k);
        }
        let apparent_va = inverter.max_apparent.va();
        let active_w = apparent_va * (1.0_f64 - reactive_ratio * reactive_ratio).sqrt();
        Output {
            most_ac_w: (most_ratio * inverter.rated_ac.w()).min(active_w),
            commanded_ratio,
            reactive_var: reactive_ratio * apparent_va,
            heatsink_degc,
            supply_v,
        }
    }

    fn noise(&self, at: Time, channel: u64) -> f64 {
        normal(
            self.world.seed.wrapping_add(channel << 32),
            at.unix_ms() as u64,
        )
    }

    fn publish(
        &self,
        device: &DeviceId,
        place: Place,
        quantity: Quantity,
        value: f64,
        now: &Now,
        readings: &mut Vec<Reading>,
    ) {
        let channel = Channel {
            device: device.clone(),
            place,
            quantity,
        };
        let step = self.world.steps.and_then(|(v, a, w)| match quantity {
            Quantity::DcVoltage => Some(v),
            Quantity::DcCurrent => Some(a),
            Quantity::AcPower => Some(w),
            _ => None,
        });
        let value = step.map_or(value, |step| (value / step).floor() * step);
        let id: Option<ChannelId> = self.plant.channels.id(&channel);
        readings.extend(id.map(|channel| Reading {
            channel,
            at: now.at,
            value: Value::judge(quantity, value),
        }));
    }
}
