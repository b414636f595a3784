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
pub(super) const PLANE_SENSOR: Sigma = Sigma::new(0.03, 0.0035);
/// Zero offset of a pyranometer in daylight, and what light leaves open that is as large in dim as
/// in bright light; the same years show 4 to 5 W/m2 [W/m2].
pub(super) const SENSOR_OFFSET_W_M2: f64 = 2.5;
/// What a sensor's and the glass's response leave open of oblique beam, times 1 / cos theta - 1 [-];
/// the same years: 0.7 % at 55 deg, 1.7 % at 68 deg.
pub(super) const OBLIQUE: f64 = 0.008;

/// Irradiance from sensors on the ground, brought into a plane. Lasting: a sensor of the same class.
/// Passing: a constant part; the bright and dark parts of the sky, by the share of diffuse light; and
/// the error of that share, which comes out stretched by how differently plane and ground see the
/// beam. Five days of a laboratory at 38 deg show 0.6, 2, 6 and 6 % at shares of 0.1, 0.3, 0.6 and
/// 0.9 with direct or diffuse irradiance measured, and 2, 4, 16 and 9 % with global alone.
const HORIZONTAL: Sigma = Sigma::new(0.03, 0.003);
const SKY_PER_SHARE: f64 = 0.07;
/// Error of the diffuse share where it is measured [-], lasting and passing.
const SHARE_MEASURED: Sigma = Sigma::new(0.02, 0.006);
/// Error of the diffuse share by the correlation [-]: at the ends, and between them times 4 F (1 - F).
const SHARE_CORRELATED: f64 = 0.03;
const SHARE_CORRELATED_BETWEEN: f64 = 0.15;

/// How the light of a plane depends on the diffuse share on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct DiffuseShare {
    /// Diffuse over global irradiance [-].
    pub share: f64,
    /// Relative change of the plane's irradiance per change of the share [-].
    pub stretch: f64,
}

/// From global horizontal irradiance with direct or diffuse.
pub(super) fn horizontal_with_diffuse(diffuse: DiffuseShare) -> Sigma {
    horizontal(diffuse, SHARE_MEASURED)
}

/// From global horizontal irradiance alone.
pub(super) fn horizontal_only(diffuse: DiffuseShare) -> Sigma {
    let between = 4.0 * diffuse.share * (1.0 - diffuse.share);
    let passing = SHARE_CORRELATED.hypot(SHARE_CORRELATED_BETWEEN * between);
    horizontal(diffuse, Sigma::new(SHARE_CORRELATED, passing))
}

fn horizontal(diffuse: DiffuseShare, share: Sigma) -> Sigma {
    let DiffuseShare { share: f, stretch } = diffuse;
    HORIZONTAL
        .and(Sigma::new(0.0, SKY_PER_SHARE * f))
        .and(Sigma::new(stretch * share.lasting, stretch * share.passing))
}

/// From a clear sky that nothing has scaled yet.
pub(super) const UNSCALED_CLEAR_SKY: Sigma = Sigma::new(0.0, 0.5);
/// From a clear sky scaled by siblings on the plane.
pub(super) const SCALED_BY_SIBLINGS: Sigma = Sigma::new(0.007, 0.002);
/// From a clear sky scaled by inputs that are held back: a few kelvin, at 2 to 5 % each (`on_curve`).
pub(super) const BY_PLACE_ON_CURVE: Sigma = Sigma::new(0.0, 0.1);
/// From the sky that another plane shows, by a sensor in it or by its inputs; the turbidity; and the
/// diffuse light, of which two planes do not see the same. The widths were set with the drawn plants of
/// seeds 1 to 120 in sight (DEVELOPERS.md).
pub(super) const ELSEWHERE_BY_SENSOR: Sigma = Sigma::new(0.03, 0.003);
pub(super) const ELSEWHERE_BY_INPUTS: Sigma = Sigma::new(0.0, 0.004);
/// What of the sky that other planes leave open is not in how far open they leave it.
pub(super) const OPEN_SKY: Sigma = Sigma::new(0.03, 0.05);
const ELSEWHERE_SKY: Sigma = Sigma::new(0.004, 0.006);
const ELSEWHERE_PER_SHARE: f64 = 0.083;
/// The same of oblique beam, times 1 / cos theta - 1 [-].
const ELSEWHERE_OBLIQUE: f64 = 0.012;
/// Beyond this incidence light is as uncertain as here [-].
pub(super) const LEAST_COSINE: f64 = 0.17;

/// Of the light from the sky that another plane shows, of which this share is diffuse, under this
/// cosine of the incidence, where an error of the other plane's light comes out so many times as
/// large.
pub(super) fn scaled_from_elsewhere(
    shown_by: Sigma,
    diffuse_ratio: f64,
    cos_incidence: f64,
    times: f64,
) -> Sigma {
    let slant = cos_incidence.max(LEAST_COSINE).recip() - 1.0;
    let oblique = ELSEWHERE_OBLIQUE * (1.0 - diffuse_ratio) * slant;
    Sigma::new(times * shown_by.lasting, times * shown_by.passing)
        .and(ELSEWHERE_SKY)
        .and(Sigma::new(0.0, ELSEWHERE_PER_SHARE * diffuse_ratio))
        .and(Sigma::new(0.0, oblique))
}

/// How sure a cell temperature is, by where it comes from: its own error [K], and that of the rise
/// over the air [-].
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HeatSigma {
    own_k: Sigma,
    of_rise: Sigma,
}

/// A sensor at the back of a module: how it sticks, and its module beside the others.
pub(super) const BACK_SENSOR: HeatSigma = HeatSigma::of(Sigma::new(1.5, 0.3));
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
    own_k: Sigma::new(6.5, 2.3),
    of_rise: Sigma::new(0.22, 0.04),
};

/// Of what cells lack to the temperature that light makes of them: modules are slow or slower [-].
pub(super) const OF_SETTLING: f64 = 0.3;

impl HeatSigma {
    /// Of a temperature that is measured: of its own alone.
    pub(super) const fn of(own_k: Sigma) -> Self {
        Self {
            own_k,
            of_rise: Sigma::new(0.0, 0.0),
        }
    }

    /// One standard deviation [K] at this rise of the cells over the air [K].
    pub(super) fn uncalibrated_k(self, rise_k: f64) -> f64 {
        let own = self.own_k.total(None);
        own.hypot(rise_k * self.of_rise.total(None))
    }

    /// The same where an offset was learned at the reference rise, in proportion to the rise, and
    /// `offset_sigma_k` of it is left: what lasts and does not grow with the rise is left elsewhere.
    pub(super) fn calibrated_k(self, rise_k: f64, offset_sigma_k: f64, weight: f64) -> f64 {
        let passing = self.own_k.passing.hypot(rise_k * self.of_rise.passing);
        let elsewhere = self.own_k.lasting * (1.0 - weight);
        passing.hypot(offset_sigma_k * weight).hypot(elsewhere)
    }
}

/// Part of a batch's difference in power that is in its current; the rest is in its voltage [-].
pub(super) const TOLERANCE_IN_CURRENT: f64 = 0.6;
/// What the fitted one-diode model leaves open, common to all inputs.
pub(super) const MODEL_CURRENT: Sigma = Sigma::new(0.008, 0.002);
pub(super) const MODEL_VOLTAGE: Sigma = Sigma::new(0.004, 0.002);
/// Mismatch and cables of one input with its meter's gain; its meter's noise.
pub(super) const OWN_CURRENT: Sigma = Sigma::new(0.014, 0.0042);
pub(super) const OWN_VOLTAGE: Sigma = Sigma::new(0.0065, 0.002);
/// How far from the peak voltage a tracker sits; the current falls as the voltage rises [-].
pub(super) const TRACKER: f64 = 0.005;
/// Smallest current an inverter can tell from nothing, over its input's peak at 1000 W/m2 [-].
pub(super) const METER_FLOOR: f64 = 0.001;
