//! Where the sun stands.
//!
//! Model:   low-precision formulas of the Astronomical Almanac for ecliptic longitude, obliquity,
//!          right ascension, declination and sidereal time; refraction after Saemundsson at 10 degC
//!          and 1010 hPa.
//! Symbols: n days from J2000.0 [d], angles [deg] where named so, else [rad]
//! Range:   1950 to 2050, 0.01 deg.
//! Source:  from memory; Michalsky, Solar Energy 40 (1988) uses the same formulas.
//! Check:   tests/campaign/light.rs, against the worked example of the program's own solar
//!          position algorithm report, 0.02 deg.

use analysis::reading::Time;

/// The sun seen from a place at a time.
#[derive(Debug, Clone, Copy)]
pub struct Sun {
    /// Above the horizon, with refraction [deg].
    pub elevation_deg: f64,
    /// Clockwise from north [deg].
    pub azimuth_deg: f64,
    /// Unit vector to it: east, north, up.
    pub direction: [f64; 3],
    /// Extraterrestrial normal irradiance [W/m2].
    pub e0_w_m2: f64,
}

const SOLAR_CONSTANT_W_M2: f64 = 1361.1;
const J2000_MS: f64 = 946_728_000_000.0; // 2000-01-01T12:00Z

impl Sun {
    /// At a time, from a latitude (north positive) and a longitude (east positive) [deg].
    pub fn at(time: Time, latitude_deg: f64, longitude_deg: f64) -> Self {
        let n = (time.unix_ms() as f64 - J2000_MS) / 86_400_000.0;
        let anomaly = (357.528 + 0.985_600_3 * n).to_radians();
        let longitude = (280.460 + 0.985_647_4 * n).to_radians()
            + (1.915_f64.to_radians()) * anomaly.sin()
            + (0.020_f64.to_radians()) * (2.0 * anomaly).sin();
        let obliquity = (23.439 - 4e-7 * n).to_radians();
        let ascension = (obliquity.cos() * longitude.sin()).atan2(longitude.cos());
        let declination = (obliquity.sin() * longitude.sin()).asin();
        let sidereal_h = 18.697_374_558 + 24.065_709_824_419_08 * n;
        let hour = (sidereal_h * 15.0 + longitude_deg).to_radians() - ascension;
        let latitude = latitude_deg.to_radians();
        let up =
            latitude.sin() * declination.sin() + latitude.cos() * declination.cos() * hour.cos();
        let east = -declination.cos() * hour.sin();
        let north =
            latitude.cos() * declination.sin() - latitude.sin() * declination.cos() * hour.cos();
        let geometric = up.asin().to_degrees();
        let elevation_deg = geometric + refraction_deg(geometric);
        let azimuth = east.atan2(north);
        let (sin, cos) = elevation_deg.to_radians().sin_cos();
        Self {
            elevation_deg,
            azimuth_deg: azimuth.to_degrees().rem_euclid(360.0),
            direction: [cos * azimuth.sin(), cos * azimuth.cos(), sin],
            e0_w_m2: SOLAR_CONSTANT_W_M2
                * (1.0 + 0.033_44 * (anomaly - 0.012).cos() + 0.000_28 * (2.0 * anomaly).cos()),
        }
    }
}

fn refraction_deg(elevation_deg: f64) -> f64 {
    if elevation_deg < -1.0 {
        return 0.0;
    }
    let argument = elevation_deg + 10.3 / (elevation_deg + 5.11);
    1.02 / argument.to_radians().tan() / 60.0
}
