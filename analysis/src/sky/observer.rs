//! Where the sky is seen from, and the air there.
//! Never in here: planes of modules, or measured weather.

use super::air_mass::pressure_pa_at_altitude;
use super::delta_t::delta_t_s;
use crate::reading::{Angle, Temperature, Time};

/// Air temperature of refraction where nothing better is known [degC], a yearly mean (common
/// practice); 20 K more or less is 0.03 deg of refraction at the horizon and 0.002 deg at 30 deg.
const DEFAULT_AIR_DEGC: f64 = 12.0;

/// A place on earth with the air above it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Observer {
    /// North positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Above sea level [m].
    pub altitude_m: f64,
    /// Yearly mean air pressure [Pa].
    pub pressure_pa: f64,
    /// Yearly mean air temperature.
    pub air_temperature: Temperature,
    /// Terrestrial minus universal time [s]; `None` takes it from the leap seconds.
    delta_t_s: Option<f64>,
}

impl Observer {
    /// Standard pressure for the altitude, 12 degC, Delta T from the leap seconds.
    pub fn new(latitude: Angle, longitude: Angle, altitude_m: f64) -> Self {
        Self {
            latitude,
            longitude,
            altitude_m,
            pressure_pa: pressure_pa_at_altitude(altitude_m),
            air_temperature: Temperature::from_degc(DEFAULT_AIR_DEGC),
            delta_t_s: None,
        }
    }

    /// With a known mean pressure [Pa] and air temperature.
    pub fn with_air(self, pressure_pa: f64, air_temperature: Temperature) -> Self {
        Self {
            pressure_pa,
            air_temperature,
            ..self
        }
    }

    /// With a given terrestrial minus universal time [s], as published examples state it.
    pub fn with_delta_t_s(self, delta_t_s: f64) -> Self {
        Self {
            delta_t_s: Some(delta_t_s),
            ..self
        }
    }

    /// Terrestrial minus universal time [s].
    pub fn delta_t_s(&self, at: Time) -> f64 {
        self.delta_t_s.unwrap_or_else(|| delta_t_s(at))
    }
}
