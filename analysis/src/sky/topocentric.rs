//! The sun as an observer on the ground sees it: parallax, horizon, refraction.
//!
//! Model:   H = nu + sigma - alpha;  parallax xi = 8.794 / (3600 R);  alpha', delta', H' with the
//!          observer's place on the flattened earth;  e = e0 + Delta e.  Steps 3.11 to 3.15
//!          Delta e = (P / 1010) (283 / (273 + T)) 1.02 / (60 tan(e0 + 10.3 / (e0 + 5.11)))
//! Symbols: H  hour angle, westward from the meridian [deg]
//!          sigma  longitude, east positive [deg]
//!          e0, e  elevation without and with air [deg]    P  pressure [mbar]    T  air [degC]
//! Range:   Delta e only where e0 >= -(0.26667 + 0.5667), the sun's upper edge at the horizon
//! Source:  I. Reda, A. Andreas, Solar Energy 76 (5), 2004, and NREL/TP-560-34302; formulas as in
//!          pvlib 0.16.1 `spa.py` (BSD-3-Clause, PVLIB_LICENSE.txt)
//! Check:   tests/data/reference/spa_nrel_example.csv, 1e-9 deg (tests/reference/sky.rs).

use super::angles::sin_cos_of_eighth;
use super::geocentric::Geocentric;
use super::observer::Observer;

/// Polar over equatorial radius of the earth [-].
const FLATTENING_RATIO: f64 = 0.996_647_19;
/// Equatorial radius of the earth [m].
const EARTH_RADIUS_M: f64 = 6_378_140.0;
/// Lowest true elevation of a sun that is still seen [deg]: its radius and refraction there.
const LOWEST_SEEN_DEG: f64 = -(0.266_67 + 0.5667);

/// The sun from a place on the ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Topocentric {
    /// H, hour angle, westward, within a turn.
    pub hour_angle_deg: f64,
    /// xi, equatorial horizontal parallax.
    pub parallax_deg: f64,
    /// Delta alpha, parallax in right ascension.
    pub right_ascension_shift_deg: f64,
    /// alpha', right ascension.
    pub right_ascension_deg: f64,
    /// delta', declination.
    pub declination_deg: f64,
    /// H', hour angle.
    pub shifted_hour_angle_deg: f64,
    /// e0, elevation without air.
    pub true_elevation_deg: f64,
    /// Delta e, refraction.
    pub refraction_deg: f64,
    /// e, elevation as seen.
    pub elevation_deg: f64,
    /// Gamma, azimuth westward from south.
    pub azimuth_from_south_deg: f64,
    /// Phi, azimuth clockwise from north.
    pub azimuth_deg: f64,
}

/// The sun from the observer's place on the ground.
pub fn topocentric(sun: &Geocentric, observer: &Observer) -> Topocentric {
    let h =
        (sun.sidereal_deg + observer.longitude.deg() - sun.right_ascension_deg).rem_euclid(360.0);
    let xi = parallax_deg(sun.radius_au);
    let (delta_alpha, delta_prime) = parallax_shift(sun, observer, h, xi);
    let h_prime = h - delta_alpha;
    let phi = observer.latitude.rad();
    let e0 = true_elevation_deg(phi, delta_prime, h_prime);
    let refraction = refraction_deg(e0, air_ratio(observer));
    let gamma = azimuth_from_south_deg(phi, delta_prime, h_prime);
    Topocentric {
        hour_angle_deg: h,
        parallax_deg: xi,
        right_ascension_shift_deg: delta_alpha,
        right_ascension_deg: sun.right_ascension_deg + delta_alpha,
        declination_deg: delta_prime,
        shifted_hour_angle_deg: h_prime,
        true_elevation_deg: e0,
        refraction_deg: refraction,
        elevation_deg: e0 + refraction,
        azimuth_from_south_deg: gamma,
        azimuth_deg: (gamma + 180.0).rem_euclid(360.0),
    }
}

/// The observer's place on the flattened earth.
#[derive(Debug, Clone, Copy)]
pub(super) struct Place {
    pub(super) sin_phi: f64,
    pub(super) cos_phi: f64,
    /// x, y, distance from the axis and height above the plane of the equator, in equatorial radii.
    pub(super) x: f64,
    pub(super) y: f64,
}

impl Place {
    pub(super) fn of(observer: &Observer) -> Self {
        let phi = observer.latitude.rad();
        let u = (FLATTENING_RATIO * phi.tan()).atan();
        let height = observer.altitude_m / EARTH_RADIUS_M;
        Self {
            sin_phi: phi.sin(),
            cos_phi: phi.cos(),
            x: u.cos() + height * phi.cos(),
            y: FLATTENING_RATIO * u.sin() + height * phi.sin(),
        }
    }
}

/// xi [deg] at a distance [AU].
pub(super) fn parallax_deg(radius_au: f64) -> f64 {
    8.794 / (3600.0 * radius_au)
}

/// Delta alpha and delta' [deg].
fn parallax_shift(sun: &Geocentric, observer: &Observer, h_deg: f64, xi_deg: f64) -> (f64, f64) {
    let Place { x, y, .. } = Place::of(observer);
    let sin_xi = xi_deg.to_radians().sin();
    let (sin_h, cos_h) = h_deg.to_radians().sin_cos();
    let (sin_delta, cos_delta) = sun.declination_deg.to_radians().sin_cos();
    let across = cos_delta - x * sin_xi * cos_h;
    let delta_alpha = (-x * sin_xi * sin_h).atan2(across);
    let delta_prime = ((sin_delta - y * sin_xi) * delta_alpha.cos()).atan2(across);
    (delta_alpha.to_degrees(), delta_prime.to_degrees())
}

fn true_elevation_deg(phi: f64, delta_prime_deg: f64, h_prime_deg: f64) -> f64 {
    let (sin_delta, cos_delta) = delta_prime_deg.to_radians().sin_cos();
    let cos_h = h_prime_deg.to_radians().cos();
    (phi.sin() * sin_delta + phi.cos() * cos_delta * cos_h)
        .asin()
        .to_degrees()
}

/// (P / 1010) (283 / (273 + T)), how much the air bends over what it does usually [-].
pub(super) fn air_ratio(observer: &Observer) -> f64 {
    let pressure = observer.pressure_pa / 100.0 / 1010.0;
    pressure * 283.0 / (273.0 + observer.air_temperature.degc())
}

/// Delta e [deg] at a true elevation [deg].
#[inline]
pub(super) fn refraction_deg(e0: f64, air_ratio: f64) -> f64 {
    if e0 < LOWEST_SEEN_DEG {
        return 0.0;
    }
    // cot x = (cos y - sin y) / (cos y + sin y) with y = x - 45 deg, an eighth of a turn at most.
    let (sin, cos) = sin_cos_of_eighth((e0 - 45.0 + 10.3 / (e0 + 5.11)).to_radians());
    air_ratio * (1.02 / 60.0) * ((cos - sin) / (cos + sin))
}

/// Westward from south, 0 to 360.
fn azimuth_from_south_deg(phi: f64, delta_prime_deg: f64, h_prime_deg: f64) -> f64 {
    let (sin_h, cos_h) = h_prime_deg.to_radians().sin_cos();
    let north = cos_h * phi.sin() - delta_prime_deg.to_radians().tan() * phi.cos();
    sin_h.atan2(north).to_degrees().rem_euclid(360.0)
}
