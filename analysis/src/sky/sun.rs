//! Where the sun stands: the solar position algorithm in full.
//!
//! Model:   the steps 3.1 to 3.14 of the report, by their numbers in the body; refraction as in
//!          step 3.11, only while the upper limb is above the refracted horizon.
//! Symbols: the report's letters, angles in degrees unless a name says otherwise.
//! Range:   -2000 to 6000; +-0.0003 deg by the report. UTC is taken as UT1 (< 0.9 s, 0.004 deg).
//!          Delta T by the polynomials of F. Espenak and J. Meeus for 1941 to 2050 (from memory,
//!          verify); held at their ends outside: a second of it moves the sun by 1e-5 deg.
//! Source:  I. Reda, A. Andreas, NREL/TP-560-34302 (2003); Solar Energy 76 (2004) 577.
//! Check:   tests/reference/sky.rs: the report's example and all its intermediates to 1e-6 deg.

use super::air_mass::pressure_pa;
use super::calendar::{decimal_year, julian_day};
use super::sun_terms::{LATITUDE, LONGITUDE, NUTATION, RADIUS};
use crate::reading::{Angle, Temperature, Time};

/// Yearly mean air temperature for refraction where none is given (common practice).
const MEAN_AIR: Temperature = Temperature::from_degc(12.0);
/// Refraction at the horizon and radius of the disc [deg], the report's values.
const HORIZON_REFRACTION_DEG: f64 = 0.5667;
const DISC_RADIUS_DEG: f64 = 0.266_67;

/// A place from which the sun is seen.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observer {
    latitude: Angle,
    longitude: Angle,
    altitude_m: f64,
    pressure_hpa: f64,
    air: Temperature,
    delta_t_s: Option<f64>,
}

impl Observer {
    /// A place, with pressure by its altitude and 12 degC for refraction.
    pub fn new(latitude: Angle, longitude: Angle, altitude_m: f64) -> Self {
        let pressure_hpa = pressure_pa(altitude_m) / 100.0;
        Self {
            latitude,
            longitude,
            altitude_m,
            pressure_hpa,
            air: MEAN_AIR,
            delta_t_s: None,
        }
    }

    /// The same place with measured air and a given Delta T.
    pub fn with_air(self, pressure_hpa: f64, air: Temperature, delta_t_s: f64) -> Self {
        Self {
            pressure_hpa,
            air,
            delta_t_s: Some(delta_t_s),
            ..self
        }
    }

    /// Above sea level [m].
    pub fn altitude_m(&self) -> f64 {
        self.altitude_m
    }
}

/// Where the sun stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// From vertical, as seen through the atmosphere.
    pub apparent_zenith: Angle,
    /// From vertical, without refraction.
    pub zenith: Angle,
    /// Clockwise from north.
    pub azimuth: Angle,
}

/// The report's intermediate values, for checking.
#[derive(Debug, Clone, Copy, PartialEq)]
#[expect(
    missing_docs,
    reason = "the report's letters; degrees unless named otherwise"
)]
pub struct Trace {
    pub jd: f64,
    pub l: f64,
    pub b: f64,
    pub r_au: f64,
    pub d_psi: f64,
    pub d_eps: f64,
    pub eps: f64,
    pub lambda: f64,
    pub nu: f64,
    pub alpha: f64,
    pub delta: f64,
    pub h: f64,
    pub d_alpha: f64,
    pub delta_prime: f64,
    pub h_prime: f64,
    pub e0: f64,
    pub e: f64,
    pub gamma: f64,
}

/// Where the sun stands at a time.
pub fn sun_position(at: Time, observer: &Observer) -> SunPosition {
    let t = trace(at, observer);
    SunPosition {
        apparent_zenith: Angle::from_deg(90.0 - t.e),
        zenith: Angle::from_deg(90.0 - t.e0),
        azimuth: Angle::from_deg((t.gamma + 180.0).rem_euclid(360.0)),
    }
}

/// The whole computation.
pub fn trace(at: Time, observer: &Observer) -> Trace {
    let jd = julian_day(at);
    let delta_t_s = observer
        .delta_t_s
        .unwrap_or_else(|| delta_t_s(decimal_year(at)));
    let jc = (jd - 2_451_545.0) / 36_525.0;
    let jce = (jd + delta_t_s / 86_400.0 - 2_451_545.0) / 36_525.0; // step 3.1
    let jme = jce / 10.0;
    let l = (series(&LONGITUDE, jme) / 1e8)
        .to_degrees()
        .rem_euclid(360.0); // step 3.2
    let b = (series(&LATITUDE, jme) / 1e8).to_degrees();
    let r_au = series(&RADIUS, jme) / 1e8;
    let (theta, beta) = (l + 180.0, -b); // step 3.3
    let (d_psi, d_eps) = nutation(jce); // step 3.4
    let eps = mean_obliquity_arcsec(jme) / 3600.0 + d_eps; // step 3.5
    let d_tau = -20.4898 / (3600.0 * r_au); // step 3.6
    let lambda = (theta + d_psi + d_tau).rem_euclid(360.0); // step 3.7
    let nu = sidereal(jd, jc) + d_psi * eps.to_radians().cos(); // step 3.8
    let (alpha, delta) = equatorial(lambda, eps, beta); // steps 3.9, 3.10
    let h = (nu + observer.longitude.deg() - alpha).rem_euclid(360.0); // step 3.11
    let (d_alpha, delta_prime) = parallax(observer, r_au, h, delta); // step 3.12
    let h_prime = h - d_alpha; // step 3.13
    let (e0, gamma) = horizontal(observer.latitude.rad(), delta_prime, h_prime); // step 3.14
    let e = e0 + refraction(observer, e0);
    Trace {
        jd,
        l,
        b,
        r_au,
        d_psi,
        d_eps,
        eps,
        lambda,
        nu,
        alpha,
        delta,
        h,
        d_alpha,
        delta_prime,
        h_prime,
        e0,
        e,
        gamma,
    }
}

/// Sum over powers of x of sums of A cos(B + C x).
fn series(terms: &[&[[f64; 3]]], x: f64) -> f64 {
    let sum = |terms: &[[f64; 3]]| {
        terms
            .iter()
            .map(|[a, b, c]| a * (b + c * x).cos())
            .sum::<f64>()
    };
    terms
        .iter()
        .rev()
        .fold(0.0, |total, terms| total * x + sum(terms))
}

fn nutation(jce: f64) -> (f64, f64) {
    let cubic = |a: f64, b: f64, c: f64, d: f64| a + jce * (b + jce * (c + jce * d));
    let x = [
        cubic(297.850_36, 445_267.111_480, -0.001_914_2, 1.0 / 189_474.0),
        cubic(357.527_72, 35_999.050_340, -0.000_160_3, -1.0 / 300_000.0),
        cubic(134.962_98, 477_198.867_398, 0.008_697_2, 1.0 / 56_250.0),
        cubic(93.271_91, 483_202.017_538, -0.003_682_5, 1.0 / 327_270.0),
        cubic(125.044_52, -1_934.136_261, 0.002_070_8, 1.0 / 450_000.0),
    ];
    let mut sums = (0.0, 0.0);
    for (multiples, [a, b, c, d]) in &NUTATION {
        let argument: f64 = multiples
            .iter()
            .zip(x)
            .map(|(y, x)| y * x)
            .sum::<f64>()
            .to_radians();
        sums.0 += (a + b * jce) * argument.sin();
        sums.1 += (c + d * jce) * argument.cos();
    }
    (sums.0 / 36_000_000.0, sums.1 / 36_000_000.0)
}

fn mean_obliquity_arcsec(jme: f64) -> f64 {
    const POWERS: [f64; 11] = [
        84_381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45,
    ];
    let u = jme / 10.0;
    POWERS.iter().rev().fold(0.0, |sum, power| sum * u + power)
}

fn sidereal(jd: f64, jc: f64) -> f64 {
    let nu0 = 280.460_618_37 + 360.985_647_366_29 * (jd - 2_451_545.0) + 0.000_387_933 * jc * jc
        - jc.powi(3) / 38_710_000.0;
    nu0.rem_euclid(360.0)
}

fn equatorial(lambda: f64, eps: f64, beta: f64) -> (f64, f64) {
    let (lambda, eps, beta) = (lambda.to_radians(), eps.to_radians(), beta.to_radians());
    let alpha = (lambda.sin() * eps.cos() - beta.tan() * eps.sin()).atan2(lambda.cos());
    let delta = (beta.sin() * eps.cos() + beta.cos() * eps.sin() * lambda.sin()).asin();
    (alpha.to_degrees().rem_euclid(360.0), delta.to_degrees())
}

fn parallax(observer: &Observer, r_au: f64, h: f64, delta: f64) -> (f64, f64) {
    const FLATTENED: f64 = 0.996_647_19;
    const EARTH_RADIUS_M: f64 = 6_378_140.0;
    let xi = (8.794 / (3600.0 * r_au)).to_radians();
    let phi = observer.latitude.rad();
    let u = (FLATTENED * phi.tan()).atan();
    let x = u.cos() + observer.altitude_m / EARTH_RADIUS_M * phi.cos();
    let y = FLATTENED * u.sin() + observer.altitude_m / EARTH_RADIUS_M * phi.sin();
    let (h, delta) = (h.to_radians(), delta.to_radians());
    let below = delta.cos() - x * xi.sin() * h.cos();
    let d_alpha = (-x * xi.sin() * h.sin()).atan2(below);
    let delta_prime = ((delta.sin() - y * xi.sin()) * d_alpha.cos()).atan2(below);
    (d_alpha.to_degrees(), delta_prime.to_degrees())
}

fn horizontal(phi: f64, delta: f64, h: f64) -> (f64, f64) {
    let (delta, h) = (delta.to_radians(), h.to_radians());
    let e0 = (phi.sin() * delta.sin() + phi.cos() * delta.cos() * h.cos()).asin();
    let gamma = h.sin().atan2(h.cos() * phi.sin() - delta.tan() * phi.cos());
    (e0.to_degrees(), gamma.to_degrees().rem_euclid(360.0))
}

fn refraction(observer: &Observer, e0: f64) -> f64 {
    if e0 < -(DISC_RADIUS_DEG + HORIZON_REFRACTION_DEG) {
        return 0.0;
    }
    let air = observer.pressure_hpa / 1010.0 * 283.0 / (273.0 + observer.air.degc());
    air * 1.02 / (60.0 * (e0 + 10.3 / (e0 + 5.11)).to_radians().tan())
}

/// Terrestrial minus universal time [s] by decimal year.
fn delta_t_s(year: f64) -> f64 {
    let y = year.clamp(1941.0, 2050.0);
    let polynomial = |t: f64, c: &[f64]| c.iter().rev().fold(0.0, |sum, c| sum * t + c);
    if y < 1961.0 {
        polynomial(y - 1950.0, &[29.07, 0.407, -1.0 / 233.0, 1.0 / 2547.0])
    } else if y < 1986.0 {
        polynomial(y - 1975.0, &[45.45, 1.067, -1.0 / 260.0, -1.0 / 718.0])
    } else if y < 2005.0 {
        let c = [
            63.86,
            0.3345,
            -0.060_374,
            0.001_727_5,
            0.000_651_814,
            0.000_023_735_99,
        ];
        polynomial(y - 2000.0, &c)
    } else {
        polynomial(y - 2000.0, &[62.92, 0.322_17, 0.005_589])
    }
}
