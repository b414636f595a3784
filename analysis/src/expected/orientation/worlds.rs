//! Invented places with a plane whose true orientation is known, and its response on clear days.
//!
//! The truth is made with the sky module: true turbidity, true tilt and azimuth, flat glass. What
//! the fit is given errs: turbidity (half of the error stays, half is the day's), the stated
//! orientation, the gain, the stamps, the spectrum; white noise, noise that lasts half an hour, and
//! on some days a cloud.

use super::OrientationSample;
use crate::plant::{Mounting, Plane};
use crate::reading::{Angle, Span, Time};
use crate::sky::{
    self, ClearAir, Components, Dome, Facing, Observer, PlaneIrradiance, SunTrack, Sunlight,
};

/// 2024-01-01T00:00:00Z.
const NEW_YEAR: Time = Time::from_unix_ms(1_704_067_200_000);
/// One standard deviation of a monthly Linke turbidity on a single day [-] (engineering judgement).
const TURBIDITY_SIGMA: f64 = 0.7;
/// Noise that lasts: its sigma [-] and its time constant [h].
const LASTING_RATIO: f64 = 0.004;
const LASTING_H: f64 = 0.5;

/// One standard deviation of stamps [ms] and of the spectral response (engineering judgement).
const STAMP_SIGMA_MS: f64 = 20_000.0;
const SPECTRAL_SIGMA: f64 = 0.012;
/// One standard deviation of that [-] (engineering judgement).
const DIFFUSE_SIGMA: f64 = 0.5;

/// Numbers that look random and are always the same: SplitMix64 (public domain; from memory, only
/// its evenness matters).
#[derive(Debug, Clone)]
pub struct Dice(u64);

impl Dice {
    pub fn new(seed: u64) -> Self {
        Self(seed)
    }

    pub fn uniform(&mut self, low: f64, high: f64) -> f64 {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        z ^= z >> 31;
        low + (high - low) * (z >> 11) as f64 / (1_u64 << 53) as f64
    }

    /// The sum of twelve even ones.
    pub fn normal(&mut self, sigma: f64) -> f64 {
        sigma * (0..12).map(|_| self.uniform(-0.5, 0.5)).sum::<f64>()
    }

    pub fn chance(&mut self, probability: f64) -> bool {
        self.uniform(0.0, 1.0) < probability
    }
}

/// A place with a plane.
#[derive(Debug, Clone)]
pub struct World {
    pub observer: Observer,
    pub truth: Plane,
    pub stated: Plane,
    pub gain: f64,
    pub noise_ratio: f64,
    pub slot: Span,
    /// Of a clear day, by the table of the site file.
    pub turbidity: f64,
    /// What the table errs by all year.
    pub turbidity_error: f64,
    /// How late the stamps of the readings are.
    pub stamp_error: Span,
    /// How much more of the light the cells take for the air mass's logarithm [-]: spectrum.
    pub spectral_ratio: f64,
    /// How far the true sky is from the model of Perez, towards that of Hay and Davies [-].
    pub diffuse_ratio: f64,
}

/// What light is given to the fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Given {
    /// A clear sky of the table's turbidity.
    ClearSky,
    /// The components as they are.
    Measured,
}

pub fn plane(tilt_deg: f64, azimuth_deg: f64) -> Plane {
    Plane {
        id: "p".to_owned(),
        tilt: Angle::from_deg(tilt_deg),
        azimuth: Angle::from_deg(azimuth_deg.rem_euclid(360.0)),
        mounting: Mounting::OPEN_RACK,
        albedo_ratio: 0.2,
        horizon: None,
    }
}

impl World {
    /// Anywhere between 55 deg south and 60 deg north, facing within 70 deg of the equator.
    pub fn anywhere(dice: &mut Dice) -> Self {
        let latitude = if dice.chance(0.7) {
            dice.uniform(25.0, 60.0)
        } else {
            dice.uniform(-55.0, -20.0)
        };
        let equator = if latitude > 0.0 { 180.0 } else { 0.0 };
        let (tilt, azimuth) = (
            dice.uniform(15.0, 50.0),
            equator + dice.uniform(-70.0, 70.0),
        );
        Self {
            observer: Observer::new(
                Angle::from_deg(latitude),
                Angle::from_deg(dice.uniform(-180.0, 180.0)),
                dice.uniform(0.0, 1200.0),
            ),
            truth: plane(tilt, azimuth),
            stated: plane(
                tilt + dice.uniform(-10.0, 10.0),
                azimuth + dice.uniform(-10.0, 10.0),
            ),
            gain: dice.uniform(0.85, 1.08),
            noise_ratio: dice.uniform(0.01, 0.02),
            slot: Span::from_min(if dice.chance(0.7) { 5 } else { 15 }),
            turbidity: dice.uniform(2.2, 4.5),
            turbidity_error: dice.normal(TURBIDITY_SIGMA * 0.5_f64.sqrt()),
            stamp_error: Span::from_ms(dice.normal(STAMP_SIGMA_MS) as i64),
            spectral_ratio: dice.normal(SPECTRAL_SIGMA),
            diffuse_ratio: dice.normal(DIFFUSE_SIGMA),
        }
    }

    /// The response of the true plane on a clear day, and what the fit is given with it.
    pub fn clear_day(
        &self,
        day_of_year: i64,
        given: Given,
        dice: &mut Dice,
    ) -> Vec<OrientationSample> {
        let truth = Seen::new(&self.truth);
        self.day_of(day_of_year, given, dice, |light| {
            truth.effective_w_m2(light)
        })
    }

    /// The same with any response to the true sky [W/m2].
    pub fn day_of(
        &self,
        day_of_year: i64,
        given: Given,
        dice: &mut Dice,
        response: impl Fn(&Light) -> f64,
    ) -> Vec<OrientationSample> {
        let day_error = dice.normal(TURBIDITY_SIGMA * 0.5_f64.sqrt());
        let true_turbidity = (self.turbidity + self.turbidity_error + day_error).max(1.5);
        let air = |turbidity| ClearAir::new(&self.observer, turbidity);
        let (true_air, table_air) = (air(true_turbidity), air(self.turbidity));
        let other_air = air(self.turbidity + TURBIDITY_SIGMA);
        let mut track = SunTrack::new(self.observer);
        let slots = 24 * 60 / (self.slot.ms() / 60_000);
        let solar_midnight = NEW_YEAR + Span::from_h(24 * (day_of_year - 1))
            - Span::from_s((self.observer.longitude.deg() / 15.0 * 3600.0) as i64);
        let mut lasting = dice.normal(LASTING_RATIO);
        let keep = (-self.slot.hours() / LASTING_H).exp();
        let mut samples = Vec::new();
        for slot in 0..slots {
            lasting = keep * lasting + dice.normal(LASTING_RATIO * (1.0 - keep * keep).sqrt());
            let noise = lasting + dice.normal(self.noise_ratio);
            let middle =
                (solar_midnight + self.slot * slot).slot_start(self.slot) + self.slot.half();
            let sunlight = track.sunlight(middle);
            let true_sun = track.sunlight(middle - self.stamp_error);
            let true_sky = true_air.under(&true_sun);
            if true_sky.ghi.w_m2() <= 0.0 || table_air.under(&sunlight).ghi.w_m2() <= 0.0 {
                continue;
            }
            let (components, other_components) = match given {
                Given::ClearSky => (table_air.under(&sunlight), other_air.under(&sunlight)),
                Given::Measured => (true_sky, true_sky),
            };
            let effective = response(&Light {
                dome: Dome::new(&true_sky, &true_sun),
                sunlight: true_sun,
                components: true_sky,
                albedo_ratio: self.truth.albedo_ratio,
                diffuse_ratio: self.diffuse_ratio,
            });
            let air_mass = 1.0 / true_sun.direction.up.max(0.1);
            let spectral = 1.0 + self.spectral_ratio * air_mass.ln();
            samples.push(OrientationSample {
                sunlight,
                components,
                other_components,
                clear_ghi: table_air.under(&sunlight).ghi,
                response_ratio: self.gain * effective / 1000.0 * spectral * (1.0 + noise),
                sigma_ratio: 0.015,
            });
        }
        samples
    }
}

/// A cloud over an hour of the day: some slots lose up to 0.7 of the light.
pub fn with_a_cloud(
    mut samples: Vec<OrientationSample>,
    slot: Span,
    dice: &mut Dice,
) -> Vec<OrientationSample> {
    let covered = (1.0 / slot.hours()) as usize;
    let first = dice.uniform(0.2, 0.7) * samples.len() as f64;
    let depth = dice.uniform(0.2, 0.7);
    for sample in samples.iter_mut().skip(first as usize).take(covered) {
        sample.response_ratio *= 1.0 - depth * dice.uniform(0.5, 1.0);
    }
    samples
}

/// The true light of a slot.
#[derive(Debug, Clone, Copy)]
pub struct Light {
    pub dome: Dome,
    pub sunlight: Sunlight,
    pub components: Components,
    pub albedo_ratio: f64,
    pub diffuse_ratio: f64,
}

/// A plane with its glass, by the exact modifiers and apart from the code under test.
#[derive(Debug)]
pub struct Seen {
    facing: Facing,
    diffuse: sky::DiffuseModifiers,
    sky_view: f64,
}

impl Seen {
    pub fn new(plane: &Plane) -> Self {
        Self {
            facing: Facing::of(plane),
            diffuse: sky::diffuse_modifiers(plane.tilt),
            sky_view: (1.0 + plane.tilt.rad().cos()) / 2.0,
        }
    }

    pub fn effective_w_m2(&self, light: &Light) -> f64 {
        let PlaneIrradiance {
            beam,
            sky_diffuse,
            ground,
        } = light.dome.on(&self.facing, light.albedo_ratio);
        let cos = self.facing.cos_incidence(&light.sunlight.direction);
        let (dni, dhi) = (light.components.dni.w_m2(), light.components.dhi.w_m2());
        let a = dni / 1366.1;
        let round_sun = cos.max(0.0) / light.sunlight.direction.up;
        let hay_davies = dhi * (a * round_sun + (1.0 - a) * self.sky_view);
        let perez = sky_diffuse.w_m2();
        let sky_w_m2 = (perez + light.diffuse_ratio * (hay_davies - perez)).max(0.0);
        beam.w_m2() * sky::incidence_modifier_at(cos)
            + sky_w_m2 * self.diffuse.sky
            + ground.w_m2() * self.diffuse.ground
    }
}
