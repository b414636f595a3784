//! The errors of one drawn plant, with how large they are. The sizes are common practice for good
//! installations (engineering judgement where nothing better is said), one standard deviation
//! unless a line says otherwise.
//! Never in here: what they do.

use super::POWER_TOLERANCE_RATIO;
use crate::plant::{normal, uniform};

/// Gain of an irradiance sensor [-], its offset [W/m2], and its noise [W/m2].
const SENSOR_GAIN: f64 = 0.03;
const SENSOR_OFFSET_W_M2: f64 = 3.0;
pub(super) const SENSOR_NOISE_W_M2: f64 = 1.5;
/// What all inputs make of the same sensor from one day to the next: spectrum, dew, dust. Two years of
/// 15-minute power (tests/data/rtc) show 0.55 to 0.7 % [-].
const LIGHT_OF_DAY: f64 = 0.006;
/// Bright and dark parts of the sky beside the model's, of the diffuse light in a plane, from hour to
/// hour. Five days of a laboratory (tests/data/nrel_pvanalytics) show 6 to 7 % [-].
const SKY_OF_HOUR: f64 = 0.07;
/// Air temperature: sensor, shield and place together [K].
const AIR_K: f64 = 1.0;
/// Back of a module: the sensor, how it sticks, and its module beside the others [K].
const BACK_K: f64 = 1.5;
/// Wind at the array over wind at the mast, as a logarithm [-].
const WIND_LN: f64 = 0.3;
/// Heat-loss coefficients [-]; cell over back of module [K].
const HEAT_LOSS: f64 = 0.10;
const CELL_OVER_BACK_K: f64 = 0.7;
/// Part of a batch's difference in power that is in its current; the rest is in its voltage [-].
const IN_CURRENT: f64 = 0.6;
/// Strings beside each other: current, voltage [-].
const STRING_CURRENT: f64 = 0.01;
const STRING_VOLTAGE: f64 = 0.004;
/// Gain of an inverter's meters [-] and their noise [-].
const METER_VOLTAGE: f64 = 0.005;
const METER_CURRENT: f64 = 0.01;
pub(super) const METER_VOLTAGE_NOISE: f64 = 0.002;
pub(super) const METER_CURRENT_NOISE: f64 = 0.005;
/// How far from the peak voltage a tracker sits [-].
pub(super) const TRACKER_VOLTAGE: f64 = 0.005;
/// Linke turbidity beside the site's: the place, and from day to day [-].
const TURBIDITY: f64 = 0.8;
const TURBIDITY_OF_DAY: f64 = 0.4;
pub(super) const TURBIDITY_RANGE: (f64, f64) = (1.8, 6.5);
/// Albedo beside the site's [-].
const ALBEDO: f64 = 0.05;
/// Clouds reach an input this much before or after the sensor [s].
const LAG_S: f64 = 5.0;

/// The errors of one plant. Errors are by what the truth differs from what is known.
#[derive(Debug, Clone)]
pub struct Errors {
    seed: u64,
    /// Times the sizes above: 1, or 0 for a plant without errors.
    size: f64,
    /// Place and season: anywhere from the tropics to the cool south.
    pub latitude_deg: f64,
    /// Of the plane that looks north, 10 to 40.
    pub tilt_deg: f64,
    /// First day after the start of the world, 0 to 364.
    pub first_day: i64,
    /// Mean air temperature [degC] and wind at the mast [m/s], 5 to 30 and 0.5 to 4.
    pub air_degc: f64,
    pub(super) wind_m_s: f64,
    /// Gains of the sensors of plane, global and diffuse irradiance [-]; offset [W/m2].
    pub(super) sensor_gain: [f64; 3],
    pub(super) sensor_offset_w_m2: f64,
    pub(super) air_k: f64,
    pub(super) back_k: f64,
    pub(super) wind_ratio: f64,
    pub(super) heat_loss: [f64; 2],
    pub(super) cell_over_back_k: f64,
    pub(super) batch_current: f64,
    pub(super) batch_voltage: f64,
    pub(super) albedo: f64,
    /// Whether the sky is bright as in the program's model or as in another.
    pub(super) same_sky: bool,
}

impl Errors {
    /// The errors of the plant of this seed.
    pub fn new(seed: u64) -> Self {
        Self::of_size(seed, 1.0)
    }

    /// The same place and weather without an error; only meters and tracker are noisy.
    pub fn none(seed: u64) -> Self {
        Self::of_size(seed, 0.0)
    }

    fn of_size(seed: u64, size: f64) -> Self {
        let draw = |what: u64| size * normal(seed, what);
        let between = |what: u64, low: f64, high: f64| low + (high - low) * uniform(seed, what);
        let batch = size * between(1, -POWER_TOLERANCE_RATIO, POWER_TOLERANCE_RATIO);
        let gain = |what: u64| 1.0 + SENSOR_GAIN * draw(what);
        Self {
            seed,
            size,
            latitude_deg: between(2, -45.0, -18.0),
            tilt_deg: between(3, 10.0, 40.0),
            first_day: between(4, 0.0, 365.0) as i64,
            air_degc: between(5, 5.0, 30.0),
            wind_m_s: between(6, 0.5, 4.0),
            sensor_gain: [gain(7), gain(8), gain(9)],
            sensor_offset_w_m2: SENSOR_OFFSET_W_M2 * draw(10),
            air_k: AIR_K * draw(11),
            back_k: BACK_K * draw(18),
            wind_ratio: (WIND_LN * draw(12)).exp(),
            heat_loss: [13, 14].map(|what| 1.0 + HEAT_LOSS * draw(what)),
            cell_over_back_k: CELL_OVER_BACK_K * draw(15),
            batch_current: 1.0 + IN_CURRENT * batch,
            batch_voltage: 1.0 + (1.0 - IN_CURRENT) * batch,
            albedo: ALBEDO * draw(16),
            same_sky: size == 0.0 || uniform(seed, 17) < 0.5,
        }
    }

    /// Share of cloudy sky, day by day: half of the days are clear.
    pub(super) fn cloudiness(&self) -> Vec<f64> {
        const CLOUDY: f64 = 0.6;
        let of_day = |day: u64| (uniform(self.seed, 20 + day) - 0.5).max(0.0) * 2.0 * CLOUDY;
        (0..17).map(of_day).collect()
    }

    pub(super) fn turbidity(&self, known: f64, day: i64) -> f64 {
        let (low, high) = TURBIDITY_RANGE;
        let of_place = TURBIDITY * self.draw(40);
        let of_day = TURBIDITY_OF_DAY * self.draw(1000 + day as u64);
        (known + of_place + of_day).clamp(low, high)
    }

    /// The gain of the light on a day.
    pub(super) fn light_of_day(&self, day: i64) -> f64 {
        1.0 + LIGHT_OF_DAY * self.draw(5000 + day as u64)
    }

    /// Diffuse light in a plane over the model's, in an hour.
    pub(super) fn sky_of_hour(&self, plane: usize, hour: i64) -> f64 {
        1.0 + SKY_OF_HOUR * self.draw((20_000 + 100_000 * plane) as u64 + hour as u64)
    }

    /// Of a string: its current and its voltage over what they should be [-].
    pub(super) fn string(&self, input: usize, string: usize) -> (f64, f64) {
        let draw = |what: usize| self.draw((100 + 100 * input + 10 * string + what) as u64);
        let current = self.batch_current * (1.0 + STRING_CURRENT * draw(0));
        (
            current,
            self.batch_voltage * (1.0 + STRING_VOLTAGE * draw(1)),
        )
    }

    /// What the meters of an input show over what is there: voltage, current [-].
    pub(super) fn meters(&self, input: usize) -> (f64, f64) {
        let draw = |what: usize| self.draw((600 + 10 * input + what) as u64);
        (1.0 + METER_VOLTAGE * draw(0), 1.0 + METER_CURRENT * draw(1))
    }

    /// When a cloud reaches an input, after it has reached the sensor [s].
    pub(super) fn lag_s(&self, input: usize) -> f64 {
        LAG_S * self.draw(700 + input as u64)
    }

    fn draw(&self, what: u64) -> f64 {
        self.size * normal(self.seed, what)
    }
}
