//! Cell temperature of a plane in a slot, with its uncertainty.
//!
//! Model:   back-of-module sensor plus G / 1000 x offset, else Faiman from air and wind.
//! Symbols: temperatures [degC], standard deviation [K].
//! Range:   steady state; the lag of a module (minutes) is inside the uncertainty of a slot.
//! Source:  `array::temperature`; standard deviations are common practice, named below.
//! Check:   tests/reference/array.rs for the formulas.

use crate::array;
use crate::plant::Mounting;
use crate::reading::{Irradiance, Speed, Stat, Temperature};

/// One standard deviation of the cell temperature [K]: with a back-of-module sensor, from air
/// temperature and wind, from air temperature alone, from nothing.
const SIGMA_BACK_SENSOR_K: f64 = 2.5;
const SIGMA_AIR_AND_WIND_K: f64 = 3.0;
const SIGMA_AIR_ONLY_K: f64 = 4.0;
const SIGMA_NOTHING_K: f64 = 10.0;
/// Assumed where nothing is measured.
const ASSUMED_AIR: Temperature = Temperature::from_degc(20.0);
const ASSUMED_WIND: Speed = Speed::from_m_s(1.0);

/// Cell temperature of a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heat {
    /// Cell temperature.
    pub cell: Temperature,
    /// One standard deviation of it [K].
    pub sigma_k: f64,
    /// The air temperature that it was computed from; `None` where a sensor on a module gave it.
    pub from_air: Option<Temperature>,
}

impl Heat {
    pub(super) fn new(
        mounting: &Mounting,
        poa: Irradiance,
        back: Option<&Stat>,
        air: Option<&Stat>,
        wind: Option<&Stat>,
    ) -> Self {
        if let Some(back) = back {
            let back = Temperature::from_degc(back.mean);
            let cell = array::cell_from_back(back, poa, mounting);
            return Self {
                cell,
                sigma_k: SIGMA_BACK_SENSOR_K,
                from_air: None,
            };
        }
        let sigma_k = match (air, wind) {
            (Some(_), Some(_)) => SIGMA_AIR_AND_WIND_K,
            (Some(_), None) => SIGMA_AIR_ONLY_K,
            (None, _) => SIGMA_NOTHING_K,
        };
        let air = air.map_or(ASSUMED_AIR, |s| Temperature::from_degc(s.mean));
        let wind = wind.map_or(ASSUMED_WIND, |s| Speed::from_m_s(s.mean));
        let back = array::faiman(poa, air, wind, mounting);
        Self {
            cell: array::cell_from_back(back, poa, mounting),
            sigma_k,
            from_air: Some(air),
        }
    }

    /// The same air and wind with another share of the light.
    pub(super) fn scaled(self, share: f64) -> Self {
        let Some(air) = self.from_air else {
            return self;
        };
        let rise = self.cell.degc() - air.degc();
        Self {
            cell: Temperature::from_degc(air.degc() + rise * share),
            ..self
        }
    }
}
