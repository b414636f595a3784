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
/// spectrum and cleanliness. Passing: two years of 15-minute power, 0.6 % from one day to the next.
pub(super) const PLANE_SENSOR: Sigma = Sigma::new(0.03, 0.006);
/// Zero offset of a pyranometer in daylight, and what light leaves open that is as large in dim as
/// in bright light; the same years show 4 to 5 W/m2 [W/m2].
pub(super) const SENSOR_OFFSET_W_M2: f64 = 4.0;
/// What a sensor's and the glass's response leave open of oblique beam, times 1 / cos theta - 1 [-];
/// the same years: 0.7 % at 55 deg, 1.7 % at 68 deg.
pub(super) const OBLIQUE: f64 = 0.01;

/// Irradiance from sensors on the ground, brought into a plane: what lasts, a sensor of the same
/// class and the ground; what passes, by how much of the light is diffuse. Five days of a laboratory
/// show 0.6, 2, 6 and 6 % at shares of 0.1, 0.3, 0.6 and 0.9 with direct or diffuse irradiance
/// measured, and 2, 4, 16 and 9 % with global irradiance alone.
const HORIZONTAL_LASTING: f64 = 0.032;
const HORIZONTAL_LEAST: f64 = 0.005;
const WITH_DIFFUSE: DiffuseModel = DiffuseModel {
    per_share: 0.08,
    most: 0.055,
};
const HORIZONTAL_ALONE: DiffuseModel = DiffuseModel {
    per_share: 0.14,
    most: 0.10,
};

struct DiffuseModel {
    per_share: f64,
    most: f64,
}

/// From global horizontal irradiance with direct or diffuse, of which this share is diffuse.
pub(super) fn horizontal_with_diffuse(diffuse_ratio: f64) -> Sigma {
    horizontal(&WITH_DIFFUSE, diffuse_ratio)
}

/// From global horizontal irradiance alone, of which this share is taken to be diffuse.
pub(super) fn horizontal_only(diffuse_ratio: f64) -> Sigma {
    horizontal(&HORIZONTAL_ALONE, diffuse_ratio)
}

fn horizontal(model: &DiffuseModel, diffuse_ratio: f64) -> Sigma {
    let passing = (model.per_share * diffuse_ratio).min(model.most);
    Sigma::new(HORIZONTAL_LASTING, passing.hypot(HORIZONTAL_LEAST))
}

/// From a clear sky that nothing has scaled yet.
pub(super) const UNSCALED_CLEAR_SKY: Sigma = Sigma::new(0.0, 0.5);
/// From a clear sky scaled by siblings on the plane.
pub(super) const SCALED_BY_SIBLINGS: Sigma = Sigma::new(0.0, 0.015);
/// From the sky that another plane shows: that plane's light, which comes out so many times as
/// large, lasting and passing; the turbidity; and clouds, of which two planes do not see the same.
const ELSEWHERE: Sigma = Sigma::new(0.03, 0.01);
const ELSEWHERE_SKY: Sigma = Sigma::new(0.01, 0.01);
const ELSEWHERE_PER_CLOUD: f64 = 0.12;

/// Of the light from the sky that another plane shows, at this clearness beside a clear one, where
/// an error of the other plane's light comes out so many times as large.
pub(super) fn scaled_from_elsewhere(clearness: f64, times: f64) -> Sigma {
    let cloud = (1.0 - clearness).max(0.0);
    Sigma::new(times * ELSEWHERE.lasting, times * ELSEWHERE.passing)
        .and(ELSEWHERE_SKY)
        .and(Sigma::new(0.0, ELSEWHERE_PER_CLOUD * cloud))
}

/// Where a cell temperature comes from: its own error [K], and that of the rise over the air [-].
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct HeatSigma {
    own_k: Sigma,
    of_rise: Sigma,
}

/// A sensor at the back of a module: how it sticks, and its module beside the others.
pub(super) const BACK_SENSOR: HeatSigma = HeatSigma {
    own_k: Sigma::new(1.7, 0.6),
    of_rise: Sigma::new(0.0, 0.0),
};
/// Air and wind: shield and place; coefficients to 10 %, wind at the array to 30 %.
pub(super) const AIR_AND_WIND: HeatSigma = HeatSigma {
    own_k: Sigma::new(1.2, 0.6),
    of_rise: Sigma::new(0.12, 0.03),
};
/// Air with an assumed wind.
pub(super) const AIR_ONLY: HeatSigma = HeatSigma {
    own_k: Sigma::new(1.2, 0.6),
    of_rise: Sigma::new(0.22, 0.05),
};
/// An assumed air and wind.
pub(super) const NO_HEAT: HeatSigma = HeatSigma {
    own_k: Sigma::new(8.0, 4.0),
    of_rise: Sigma::new(0.22, 0.05),
};

impl HeatSigma {
    /// At this rise of the cells over the air [K].
    pub fn at(self, rise_k: f64) -> Sigma {
        let rise = Sigma::new(self.of_rise.lasting * rise_k, self.of_rise.passing * rise_k);
        self.own_k.and(rise)
    }
}

/// Part of a batch's difference in power that is in its current; the rest is in its voltage [-].
pub(super) const TOLERANCE_IN_CURRENT: f64 = 0.6;
/// What the fitted one-diode model leaves open, common to all inputs.
pub(super) const MODEL_CURRENT: Sigma = Sigma::new(0.008, 0.004);
pub(super) const MODEL_VOLTAGE: Sigma = Sigma::new(0.005, 0.002);
/// Mismatch and cables of one input with its meter's gain; its meter's noise.
pub(super) const OWN_CURRENT: Sigma = Sigma::new(0.014, 0.005);
pub(super) const OWN_VOLTAGE: Sigma = Sigma::new(0.0065, 0.002);
/// How far from the peak voltage a tracker sits; the current falls as the voltage rises [-].
pub(super) const TRACKER: f64 = 0.005;
/// Smallest current an inverter can tell from nothing, over its input's peak at 1000 W/m2 [-].
pub(super) const METER_FLOOR: f64 = 0.002;
