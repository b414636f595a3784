//! The sun as seen from the centre of the earth, every step of it.
//!
//! Model:   L, B, R from periodic terms -> Theta, beta -> nutation and aberration -> lambda
//!          -> alpha, delta; sidereal time nu; equation of time E. Steps 3.1 to 3.10 and A.1.
//! Symbols: L, B, R    heliocentric longitude, latitude [deg], radius vector [AU]
//!          X0..X4     elongation of the moon, anomaly of sun and moon, argument of latitude and
//!                     ascending node of the moon [deg], not reduced to a turn
//!          epsilon    obliquity of the ecliptic [deg]    nu  sidereal time at Greenwich [deg]
//!          alpha, delta  right ascension, declination [deg]    T, x  Julian century, millennium
//! Range:   years -2000 to 6000, 0.0003 deg
//! Source:  I. Reda, A. Andreas, "Solar position algorithm for solar radiation applications", Solar
//!          Energy 76 (5), 2004, and NREL/TP-560-34302. Polynomials as in pvlib 0.16.1 `spa.py`
//!          (BSD-3-Clause, PVLIB_LICENSE.txt); step numbers from memory, verify.
//! Check:   tests/data/reference/spa_nrel_example.csv, 1e-9 deg (tests/reference/sky.rs).

use super::angles::{cos, sin_cos_deg};
use super::calendar::julian_day;
use super::spa_terms as terms;
use crate::reading::Time;

const DAY_S: f64 = 86_400.0;
/// Julian day of 2000-01-01T12:00 [d].
const J2000_JD: f64 = 2_451_545.0;

/// Everything about the sun that does not depend on who looks at it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Geocentric {
    /// JD, Julian day [d].
    pub julian_day: f64,
    /// JDE, Julian ephemeris day [d].
    pub ephemeris_day: f64,
    /// JC, Julian century.
    pub century: f64,
    /// JCE, Julian ephemeris century.
    pub ephemeris_century: f64,
    /// JME, Julian ephemeris millennium.
    pub ephemeris_millennium: f64,
    /// L, heliocentric longitude.
    pub heliocentric_longitude_deg: f64,
    /// B, heliocentric latitude.
    pub heliocentric_latitude_deg: f64,
    /// R, radius vector [AU].
    pub radius_au: f64,
    /// Theta, geocentric longitude.
    pub longitude_deg: f64,
    /// beta, geocentric latitude.
    pub latitude_deg: f64,
    /// X0 to X4.
    pub nutation_arguments_deg: [f64; 5],
    /// Delta psi, nutation in longitude.
    pub nutation_longitude_deg: f64,
    /// Delta epsilon, nutation in obliquity.
    pub nutation_obliquity_deg: f64,
    /// epsilon 0, mean obliquity [arc seconds].
    pub mean_obliquity_arcsec: f64,
    /// epsilon, true obliquity.
    pub obliquity_deg: f64,
    /// Delta tau, aberration.
    pub aberration_deg: f64,
    /// lambda, apparent longitude.
    pub apparent_longitude_deg: f64,
    /// nu 0, mean sidereal time at Greenwich.
    pub mean_sidereal_deg: f64,
    /// nu, apparent sidereal time at Greenwich.
    pub sidereal_deg: f64,
    /// alpha, right ascension.
    pub right_ascension_deg: f64,
    /// delta, declination.
    pub declination_deg: f64,
    /// M, mean longitude, not reduced to a turn.
    pub mean_longitude_deg: f64,
    /// E, equation of time [min].
    pub equation_of_time_min: f64,
}

/// The sun from the centre of the earth; `delta_t_s` is terrestrial minus universal time.
pub fn geocentric(at: Time, delta_t_s: f64) -> Geocentric {
    let jd = julian_day(at);
    let jde = jd + delta_t_s / DAY_S;
    let jc = (jd - J2000_JD) / 36_525.0;
    let jce = (jde - J2000_JD) / 36_525.0;
    let jme = jce / 10.0;
    let (l, b, r) = heliocentric(jme);
    let (theta, beta) = ((l + 180.0).rem_euclid(360.0), -b);
    let x = nutation_arguments(jce);
    let (delta_psi, delta_epsilon) = nutation(jce, &x);
    let epsilon0 = mean_obliquity_arcsec(jme);
    let epsilon = epsilon0 / 3600.0 + delta_epsilon;
    let delta_tau = -20.4898 / (3600.0 * r);
    let lambda = theta + delta_psi + delta_tau;
    let nu0 = mean_sidereal_deg(jd, jc);
    let alpha = right_ascension_deg(lambda, epsilon, beta);
    let m = mean_longitude_deg(jme);
    let psi_on_equator = delta_psi * epsilon.to_radians().cos();
    Geocentric {
        julian_day: jd,
        ephemeris_day: jde,
        century: jc,
        ephemeris_century: jce,
        ephemeris_millennium: jme,
        heliocentric_longitude_deg: l,
        heliocentric_latitude_deg: b,
        radius_au: r,
        longitude_deg: theta,
        latitude_deg: beta,
        nutation_arguments_deg: x,
        nutation_longitude_deg: delta_psi,
        nutation_obliquity_deg: delta_epsilon,
        mean_obliquity_arcsec: epsilon0,
        obliquity_deg: epsilon,
        aberration_deg: delta_tau,
        apparent_longitude_deg: lambda,
        mean_sidereal_deg: nu0,
        sidereal_deg: nu0 + psi_on_equator,
        right_ascension_deg: alpha,
        declination_deg: declination_deg(lambda, epsilon, beta),
        mean_longitude_deg: m,
        equation_of_time_min: equation_of_time_min(m, alpha, psi_on_equator),
    }
}

/// L [deg, within a turn], B [deg], R [AU].
fn heliocentric(x: f64) -> (f64, f64, f64) {
    let l = [
        sum_of_cosines(&terms::L0, x),
        sum_of_cosines(&terms::L1, x),
        sum_of_cosines(&terms::L2, x),
        sum_of_cosines(&terms::L3, x),
        sum_of_cosines(&terms::L4, x),
        sum_of_cosines(&terms::L5, x),
    ];
    let b = [sum_of_cosines(&terms::B0, x), sum_of_cosines(&terms::B1, x)];
    let r = [
        sum_of_cosines(&terms::R0, x),
        sum_of_cosines(&terms::R1, x),
        sum_of_cosines(&terms::R2, x),
        sum_of_cosines(&terms::R3, x),
        sum_of_cosines(&terms::R4, x),
    ];
    let turned = (polynomial(&l, x) / 1e8).to_degrees().rem_euclid(360.0);
    let latitude = (polynomial(&b, x) / 1e8).to_degrees();
    (turned, latitude, polynomial(&r, x) / 1e8)
}

fn sum_of_cosines(rows: &[[f64; 3]], x: f64) -> f64 {
    rows.iter().map(|[a, b, c]| a * cos(b + c * x)).sum()
}

/// Coefficients from the constant upwards.
fn polynomial(coefficients: &[f64], x: f64) -> f64 {
    coefficients.iter().rev().fold(0.0, |sum, c| sum * x + c)
}

fn nutation_arguments(t: f64) -> [f64; 5] {
    [
        polynomial(
            &[297.850_36, 445_267.111_480, -0.001_914_2, 1.0 / 189_474.0],
            t,
        ),
        polynomial(
            &[357.527_72, 35_999.050_340, -0.000_160_3, -1.0 / 300_000.0],
            t,
        ),
        polynomial(
            &[134.962_98, 477_198.867_398, 0.008_697_2, 1.0 / 56_250.0],
            t,
        ),
        polynomial(
            &[93.271_91, 483_202.017_538, -0.003_682_5, 1.0 / 327_270.0],
            t,
        ),
        polynomial(
            &[125.044_52, -1_934.136_261, 0.002_070_8, 1.0 / 450_000.0],
            t,
        ),
    ]
}

/// Delta psi, Delta epsilon [deg].
fn nutation(t: f64, x: &[f64; 5]) -> (f64, f64) {
    let rows = terms::NUTATION_Y.iter().zip(&terms::NUTATION_ABCD);
    let (psi, epsilon) = rows.fold((0.0, 0.0), |(psi, epsilon), (y, [a, b, c, d])| {
        let argument: f64 = y.iter().zip(x).map(|(y, x)| y * x).sum();
        let (sin, cos) = sin_cos_deg(argument);
        (psi + (a + b * t) * sin, epsilon + (c + d * t) * cos)
    });
    (psi / 36e6, epsilon / 36e6)
}

fn mean_obliquity_arcsec(x: f64) -> f64 {
    const U: [f64; 11] = [
        84_381.448, -4680.93, -1.55, 1999.25, -51.38, -249.67, -39.05, 7.12, 27.87, 5.79, 2.45,
    ];
    polynomial(&U, x / 10.0)
}

fn mean_sidereal_deg(jd: f64, jc: f64) -> f64 {
    let turning = 280.460_618_37 + 360.985_647_366_29 * (jd - J2000_JD);
    (turning + 0.000_387_933 * jc * jc - jc.powi(3) / 38_710_000.0).rem_euclid(360.0)
}

fn right_ascension_deg(lambda_deg: f64, epsilon_deg: f64, beta_deg: f64) -> f64 {
    let (sin_l, cos_l) = lambda_deg.to_radians().sin_cos();
    let (sin_e, cos_e) = epsilon_deg.to_radians().sin_cos();
    let y = sin_l * cos_e - beta_deg.to_radians().tan() * sin_e;
    y.atan2(cos_l).to_degrees().rem_euclid(360.0)
}

fn declination_deg(lambda_deg: f64, epsilon_deg: f64, beta_deg: f64) -> f64 {
    let (sin_b, cos_b) = beta_deg.to_radians().sin_cos();
    let (sin_e, cos_e) = epsilon_deg.to_radians().sin_cos();
    let sine = sin_b * cos_e + cos_b * sin_e * lambda_deg.to_radians().sin();
    sine.asin().to_degrees()
}

fn mean_longitude_deg(x: f64) -> f64 {
    let coefficients = [
        280.466_456_7,
        360_007.698_277_9,
        0.030_320_28,
        1.0 / 49_931.0,
        -1.0 / 15_300.0,
        -1.0 / 2_000_000.0,
    ];
    polynomial(&coefficients, x)
}

/// Four minutes to a degree; a whole turn is taken off what is nearer to it than to nothing.
fn equation_of_time_min(m_deg: f64, alpha_deg: f64, psi_on_equator_deg: f64) -> f64 {
    let turn = (m_deg - 0.005_718_3 - alpha_deg + psi_on_equator_deg).rem_euclid(360.0);
    4.0 * if turn > 180.0 { turn - 360.0 } else { turn }
}
