//! Where the sun stands, as seen by an observer: the front door of the solar position algorithm.
//! Never in here: light.

use super::angles::sin_cos_deg;
use super::geocentric::geocentric;
use super::observer::Observer;
use super::topocentric::topocentric;
use crate::reading::{Angle, Time};

/// Direction to the sun.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunPosition {
    /// From vertical, bent by the air: where the light comes from.
    pub apparent_zenith: Angle,
    /// From vertical, without air.
    pub zenith: Angle,
    /// Clockwise from north, 0 to 360; it wraps at noon in the south, so never average it.
    pub azimuth: Angle,
}

impl SunPosition {
    /// Whether the sun's centre, as seen through the air, is above the horizon.
    pub fn is_up(&self) -> bool {
        self.apparent_zenith.deg() < 90.0
    }

    /// Above the horizon, as seen through the air [deg].
    pub fn apparent_elevation_deg(&self) -> f64 {
        90.0 - self.apparent_zenith.deg()
    }
}

/// The direction to the sun, as seen, with a length of one.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SunDirection {
    /// Towards the zenith: the cosine of the apparent zenith [-].
    pub up: f64,
    /// Towards north [-].
    pub north: f64,
    /// Towards east [-].
    pub east: f64,
}

impl SunDirection {
    /// Of the sun in this position.
    #[inline]
    pub fn of(sun: &SunPosition) -> Self {
        let (sin_z, up) = sin_cos_deg(sun.apparent_zenith.deg());
        let (sin_azimuth, cos_azimuth) = sin_cos_deg(sun.azimuth.deg());
        Self {
            up,
            north: sin_z * cos_azimuth,
            east: sin_z * sin_azimuth,
        }
    }
}

/// The sun's direction by the full NREL algorithm, good to 0.0003 deg by its authors' statement.
pub fn sun_position(at: Time, observer: &Observer) -> SunPosition {
    let geocentric = geocentric(at, observer.delta_t_s(at));
    let topocentric = topocentric(&geocentric, observer);
    SunPosition {
        apparent_zenith: Angle::from_deg(90.0 - topocentric.elevation_deg),
        zenith: Angle::from_deg(90.0 - topocentric.true_elevation_deg),
        azimuth: Angle::from_deg(topocentric.azimuth_deg),
    }
}
