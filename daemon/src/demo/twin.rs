//! The demo's plant, minute by minute: what its devices would publish. Invented; for the demo only.
//!
//! The same one-diode curves as the analysis uses, with strings that differ from their datasheet, a
//! tracker that wanders, meters with noise, and the faults of the scenario.

use super::scenario::{
    DEAD_INPUT, INPUT_IS_DEAD, IS_WET, LINK_IS_OFF, OPEN_STRING, SILENT_INVERTER, STRING_IS_OPEN,
    SUPPLY_IS_HIGH, SUPPLY_TRIPPED, WET_INVERTER,
};
use super::weather::{Sky, Weather};
use analysis::array::{
    ArrayError, Curve, FitError, InputCurve, ModuleModel, cell_from_back, faiman, fit_datasheet,
};
use analysis::plant::{EventBit, Input, Inverter, Plant, State};
use analysis::reading::{Irradiance, Quantity, Speed, Temperature, Time, Voltage};
use analysis::sky::{self, Observer, PlaneIrradiance};
use fastrand::Rng;
use thiserror::Error;

/// Light under which nothing starts [W/m2].
const DAWN_W_M2: f64 = 15.0;
/// What gets through glass and dirt at any angle, roughly [-].
const THROUGH_GLASS_RATIO: f64 = 0.975;
/// Insulation of the arrays: dry, and with water in a junction box [ohm].
const DRY_OHM: f64 = 1.8e6;
const WET_OHM: f64 = 19_000.0;

/// Why the plant cannot be simulated.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum TwinError {
    /// A datasheet of the demo does not fit.
    #[error(transparent)]
    Fit(#[from] FitError),
    /// An input without strings.
    #[error(transparent)]
    Array(#[from] ArrayError),
}

/// What the devices of the plant publish at one time.
#[derive(Debug, Clone)]
pub struct Published {
    /// By inverter, in the plant's order; `None` while its link is off.
    pub inverters: Vec<Option<InverterValues>>,
    /// What the mast measures.
    pub weather: Vec<(Quantity, f64)>,
}

/// What one inverter publishes.
#[derive(Debug, Clone)]
pub struct InverterValues {
    /// Values of the inverter as a whole.
    pub device: Vec<(Quantity, f64)>,
    /// Voltage [V] and current [A] of each input.
    pub inputs: Vec<(f64, f64)>,
}

/// The plant as it runs.
#[derive(Debug)]
pub struct Twin<'a> {
    plant: &'a Plant,
    observer: Observer,
    modules: Vec<ModuleModel>,
    /// Light over datasheet light, by inverter, input and string [-].
    quality: Vec<Vec<Vec<f64>>>,
    energy_wh: Vec<f64>,
    /// By plane: modules are slow to warm.
    cells: Vec<Option<Temperature>>,
    sky: Sky,
    rng: Rng,
}

impl<'a> Twin<'a> {
    /// A plant that has just been handed over.
    ///
    /// # Errors
    /// If a module's datasheet cannot be fitted.
    pub fn new(plant: &'a Plant) -> Result<Self, TwinError> {
        let mut rng = Rng::with_seed(42);
        let mut quality = |input: &Input| -> Vec<f64> {
            input
                .strings
                .iter()
                .map(|_| 0.985 + 0.02 * rng.f64())
                .collect()
        };
        let quality = plant
            .inverters
            .iter()
            .map(|inverter| inverter.inputs.iter().map(&mut quality).collect())
            .collect();
        let site = &plant.site;
        Ok(Self {
            plant,
            observer: Observer::new(site.latitude, site.longitude, site.altitude_m),
            modules: plant
                .modules
                .iter()
                .map(|module| fit_datasheet(module).map(|fitted| fitted.model))
                .collect::<Result<_, _>>()?,
            quality,
            energy_wh: vec![2.4e6, 0.9e6],
            cells: vec![None; plant.planes.len()],
            sky: Sky::new(),
            rng,
        })
    }

    /// What the devices publish at a time; call it minute by minute.
    ///
    /// # Errors
    /// If the light leaves the range of the one-diode model.
    pub fn at(&mut self, at: Time) -> Result<Published, TwinError> {
        let weather = self.sky.at(at);
        let light = self.light(at, &weather);
        self.warm(&weather, &light);
        let mut inverters = Vec::new();
        for i in 0..self.plant.inverters.len() {
            let values = self.inverter(i, at, &weather, &light)?;
            let silent = i == SILENT_INVERTER && LINK_IS_OFF.holds(at);
            inverters.push((!silent).then_some(values));
        }
        Ok(Published {
            inverters,
            weather: self.mast(&weather, &light),
        })
    }

    /// The cells of each plane, a minute nearer to what light and wind make of them.
    fn warm(&mut self, weather: &Weather, light: &[PlaneIrradiance]) {
        const IN_A_MINUTE: f64 = 0.11; // a time constant of some nine minutes
        let air = Temperature::from_degc(weather.air_degc);
        let wind = Speed::from_m_s(weather.wind_m_s);
        for ((plane, light), cell) in self.plant.planes.iter().zip(light).zip(&mut self.cells) {
            let poa = light.total();
            let back = faiman(poa, air, wind, &plane.mounting);
            let steady = cell_from_back(back, poa, &plane.mounting).degc();
            let before = cell.map_or(steady, Temperature::degc);
            *cell = Some(Temperature::from_degc(
                before + IN_A_MINUTE * (steady - before),
            ));
        }
    }

    fn light(&self, at: Time, weather: &Weather) -> Vec<PlaneIrradiance> {
        let sun = sky::sun_position(at, &self.observer);
        let clear = sky::clear_sky(at, &sun, &self.observer, 3.0);
        // A cloud takes the beam first and gives part of it back as diffuse light.
        let beam = ((weather.clearness - 0.3) / 0.7).max(0.0);
        let scaled = |value: Irradiance, by: f64| Irradiance::from_w_m2(value.w_m2() * by);
        let ghi = scaled(clear.ghi, weather.clearness);
        let dni = scaled(clear.dni, beam);
        let components = sky::close_with_dni(ghi, dni, &sun);
        let plane = |p| sky::plane_irradiance(&components, at, &sun, p);
        self.plant.planes.iter().map(plane).collect()
    }

    fn mast(&mut self, weather: &Weather, light: &[PlaneIrradiance]) -> Vec<(Quantity, f64)> {
        let poa = light[0].total().w_m2();
        let air = weather.air_degc + self.noise(0.1);
        vec![
            // The sensor reads two percent high, as sensors do.
            (Quantity::Poa, (poa * 1.02 + self.noise(1.0)).max(0.0)),
            (Quantity::AirTemperature, air),
            (Quantity::WindSpeed, weather.wind_m_s),
            (Quantity::RelativeHumidity, weather.humidity_ratio),
        ]
    }

    fn inverter(
        &mut self,
        i: usize,
        at: Time,
        weather: &Weather,
        light: &[PlaneIrradiance],
    ) -> Result<InverterValues, TwinError> {
        let inverter = &self.plant.inverters[i];
        let brightest = inverter
            .inputs
            .iter()
            .map(|input| light[input.plane()].total().w_m2())
            .fold(0.0, f64::max);
        let volts_ac = self.supply_voltage(at, i);
        // Insulation is measured before a start: a wet array shows when the light comes.
        let wet = i == WET_INVERTER && IS_WET.holds(at) && brightest >= DAWN_W_M2;
        let curves = self.curves(i, at, light)?;
        let state = if brightest < DAWN_W_M2 {
            State::Sleeping
        } else if SUPPLY_TRIPPED.holds(at) || wet {
            State::Fault
        } else {
            State::Tracking
        };
        let (inputs, ac_w, state) = self.work(inverter, &curves, state);
        let bits = match state {
            State::Fault if wet => 1 << EventBit::GroundFault as u32,
            State::Fault => 1 << EventBit::AcOverVoltage as u32,
            _ => 0,
        };
        self.energy_wh[i] += ac_w / 60.0;
        let phase_a = ac_w / (3.0 * volts_ac[0]);
        let isolation = if wet { WET_OHM } else { DRY_OHM };
        let device = vec![
            (Quantity::AcPower, ac_w),
            (Quantity::AcVoltageL1, volts_ac[0]),
            (Quantity::AcVoltageL2, volts_ac[1]),
            (Quantity::AcVoltageL3, volts_ac[2]),
            (Quantity::AcCurrentL1, phase_a),
            (Quantity::AcCurrentL2, phase_a),
            (Quantity::AcCurrentL3, phase_a),
            (Quantity::Frequency, 50.0 + self.noise(0.015)),
            (Quantity::EnergyTotal, self.energy_wh[i]),
            (
                Quantity::HeatsinkTemperature,
                weather.air_degc + 5.0 + 30.0 * ac_w / inverter.rated_ac.w(),
            ),
            (Quantity::State, f64::from(state as u8)),
            (Quantity::EventBits, f64::from(bits)),
            (Quantity::IsolationResistance, isolation),
        ];
        Ok(InverterValues { device, inputs })
    }

    fn supply_voltage(&mut self, at: Time, i: usize) -> [f64; 3] {
        let rise = if SUPPLY_IS_HIGH.holds(at) { 17.8 } else { 0.0 };
        [241.5, 240.2, 242.0].map(|v| v + rise + 0.4 * i as f64 + self.noise(0.4))
    }

    /// The curve of each input; `None` where nothing is connected.
    fn curves(
        &mut self,
        i: usize,
        at: Time,
        light: &[PlaneIrradiance],
    ) -> Result<Vec<Option<InputCurve>>, TwinError> {
        let inverter = &self.plant.inverters[i];
        let mut curves = Vec::new();
        for (k, input) in inverter.inputs.iter().enumerate() {
            let mut strings = Vec::new();
            for (s, string) in input.strings.iter().enumerate() {
                let open = (i, k, s) == OPEN_STRING && STRING_IS_OPEN.holds(at);
                let dead = (i, k) == DEAD_INPUT && INPUT_IS_DEAD.holds(at);
                let poa = light[string.plane].total();
                if open || dead || poa.w_m2() < DAWN_W_M2 {
                    continue;
                }
                let seen = poa.w_m2() * THROUGH_GLASS_RATIO * self.quality[i][k][s];
                let Some(cell) = self.cells[string.plane] else {
                    continue;
                };
                let module: Curve =
                    self.modules[string.module].at(Irradiance::from_w_m2(seen), cell)?;
                strings.push(module.in_series(string.count, string.cable_loop));
            }
            curves.push(if strings.is_empty() {
                None
            } else {
                Some(InputCurve::new(&strings)?)
            });
        }
        Ok(curves)
    }

    /// Voltage and current of each input and the AC power, at the peak or held back by the rating.
    fn work(
        &mut self,
        inverter: &Inverter,
        curves: &[Option<InputCurve>],
        state: State,
    ) -> (Vec<(f64, f64)>, f64, State) {
        let connected = state == State::Tracking;
        let efficiency = inverter.efficiency[0].efficiency_ratio;
        let at = |raise: f64| -> Vec<(f64, f64)> {
            let point = |curve: &Option<InputCurve>| match curve {
                Some(curve) if connected => {
                    let v = curve.max_power().voltage.v() * raise;
                    (v, curve.current_at(Voltage::from_v(v)).a().max(0.0))
                }
                // About the open-circuit voltage.
                Some(curve) => (curve.max_power().voltage.v() * 1.2, 0.0),
                None => (0.0, 0.0),
            };
            curves.iter().map(point).collect()
        };
        let power = |points: &[(f64, f64)]| points.iter().map(|(v, a)| v * a).sum::<f64>();
        let mut raise = 1.0;
        let limit = inverter.rated_ac.w() / efficiency;
        while power(&at(raise)) > limit {
            raise += 0.002;
        }
        let points: Vec<(f64, f64)> = at(raise)
            .into_iter()
            .map(|(v, a)| (self.meter(v, 0.002), self.meter(a, 0.006)))
            .collect();
        let state = if raise > 1.0 { State::Throttled } else { state };
        let ac_w = (power(&points) * efficiency).min(inverter.rated_ac.w());
        (points, ac_w, state)
    }

    fn meter(&mut self, value: f64, sigma_ratio: f64) -> f64 {
        (value * (1.0 + self.noise(sigma_ratio))).max(0.0)
    }

    /// About normal, mean 0.
    fn noise(&mut self, sigma: f64) -> f64 {
        sigma * ((0..12).map(|_| self.rng.f64()).sum::<f64>() - 6.0)
    }
}
