//! How far each source of error moves the expected values: one standard deviation of each.
//!
//! Model:   an error either lasts (weeks and more: a sensor's gain, a datasheet) or passes (within
//!          a day or from one day to the next: wind, spectrum, the model of the sky). A calibration
//!          takes the lasting part away and leaves its own uncertainty instead. Parts add in
//!          quadrature.
//! Symbols: standard deviations, relative unless their name says otherwise.
//! Source:  engineering judgement where nothing else is said.
//! Check:   tests/acceptance/coverage.rs: how often what is measured lies inside the bands, on
//!          simulated plants and on recordings.

/// One standard deviation of an error, by how long it stays; in the unit of what it is of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Sigma {
    /// Of the part that stays for weeks.
    pub lasting: f64,
    /// Of the part that changes within days.
    pub passing: f64,
}

impl Sigma {
    /// Lasting and passing.
    pub const fn new(lasting: f64, passing: f64) -> Self {
        Self { lasting, passing }
    }

    /// With an independent error of the same quantity.
    pub fn and(self, other: Self) -> Self {
        Self {
            lasting: self.lasting.hypot(other.lasting),
            passing: self.passing.hypot(other.passing),
        }
    }

    /// All of it, where a calibration has left `remaining` of the lasting part; as it stands where
    /// there is none.
    pub fn total(self, remaining: Option<f64>) -> f64 {
        self.passing.hypot(remaining.unwrap_or(self.lasting))
    }
}

/// Irradiance from a sensor in the plane (common practice for class B): calibration and alignment;
/// spectrum, cleanliness and the difference between its sky and the array's.
pub(super) const PLANE_SENSOR: Sigma = Sigma::new(0.03, 0.012);
/// From global horizontal irradiance with direct or diffuse: as above; the model of the sky.
pub(super) const HORIZONTAL_WITH_DIFFUSE: Sigma = Sigma::new(0.035, 0.03);
/// From global horizontal irradiance alone: as above; the decomposition.
pub(super) const HORIZONTAL_ONLY: Sigma = Sigma::new(0.04, 0.06);
/// From a clear sky that nothing has scaled yet.
pub(super) const UNSCALED_CLEAR_SKY: Sigma = Sigma::new(0.0, 0.5);
/// From a clear sky scaled by siblings on the plane.
pub(super) const SCALED_BY_SIBLINGS: Sigma = Sigma::new(0.0, 0.02);
/// From the sky that another plane shows: what that plane's light leaves open; the turbidity; and
/// clouds, of which two planes do not see the same.
const ELSEWHERE: f64 = 0.02;
const ELSEWHERE_SKY: f64 = 0.025;
const ELSEWHERE_PER_CLOUD: f64 = 0.15;
/// Zero offset of a pyranometer in daylight [W/m2].
pub(super) const SENSOR_OFFSET_W_M2: f64 = 4.0;
/// What a sensor's and the glass's response leave open of oblique beam, times 1 / cos theta - 1 [-].
pub(super) const OBLIQUE: f64 = 0.02;

/// Cell temperature from a sensor at the back of a module, from air temperature and wind, from air
/// temperature alone, and from nothing [K].
pub(super) const BACK_SENSOR_K: Sigma = Sigma::new(2.0, 1.0);
pub(super) const AIR_AND_WIND_K: Sigma = Sigma::new(2.0, 2.0);
pub(super) const AIR_ONLY_K: Sigma = Sigma::new(2.5, 3.0);
pub(super) const NO_HEAT_K: Sigma = Sigma::new(8.0, 6.0);

/// What the fitted one-diode model leaves open, common to all inputs: the current beside the power
/// tolerance, and the voltage.
pub(super) const MODEL_CURRENT: Sigma = Sigma::new(0.015, 0.008);
pub(super) const MODEL_VOLTAGE: Sigma = Sigma::new(0.01, 0.003);
/// Mismatch, soiling and cables of one input, with its meter's gain; and its meter's noise.
pub(super) const OWN_CURRENT: Sigma = Sigma::new(0.015, 0.006);
pub(super) const OWN_VOLTAGE: Sigma = Sigma::new(0.006, 0.003);
/// Smallest current an inverter can tell from nothing, over its input's peak at 1000 W/m2 [-].
pub(super) const METER_FLOOR: f64 = 0.004;

/// Of the light from the sky that another plane shows, at this clearness beside a clear one, where
/// an error of the other plane's light comes out so many times as large.
pub(super) fn scaled_from_elsewhere(clearness: f64, times: f64) -> Sigma {
    let cloud = (1.0 - clearness).max(0.0);
    let passing = (times * ELSEWHERE)
        .hypot(ELSEWHERE_SKY)
        .hypot(ELSEWHERE_PER_CLOUD * cloud);
    Sigma::new(0.0, passing)
}
