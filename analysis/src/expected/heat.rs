//! Cell temperature of a plane in a slot, with its uncertainty.
//!
//! Model:   back-of-module sensor plus G / 1000 x offset, else Faiman from air and wind. In slots
//!          shorter than a module's inertia the latter follows the light with a lag (`Inertia`).
//! Symbols: temperatures [degC], standard deviations [K].
//! Range:   what the plant and the readings guarantee.
//! Source:  `array::temperature`; standard deviations in `sigma`.
//! Check:   tests/reference/array.rs for the formulas; tests below.

use super::sigma::{self, HeatSigma};
use crate::array;
use crate::plant::Mounting;
use crate::reading::{Irradiance, Span, Speed, Stat, Temperature, Time};
use serde::{Deserialize, Serialize};

/// Slots from this length on see modules in a steady state.
const STEADY_FROM: Span = Span::from_min(10);
/// Rise of the cells over the air for which offsets are stated [K]: a bright, calm noon.
const REFERENCE_RISE_K: f64 = 25.0;
/// Assumed where nothing is measured.
const ASSUMED_AIR: Temperature = Temperature::from_degc(20.0);
const ASSUMED_WIND: Speed = Speed::from_m_s(1.0);

/// Cell temperature of a plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Heat {
    /// Cell temperature.
    pub cell: Temperature,
    /// How sure it is.
    pub sigma: HeatSigma,
    /// The air temperature that it was computed from; `None` where a sensor on a module gave it.
    pub from_air: Option<Temperature>,
    /// How far the cells still are from what this light makes of them [K].
    pub settling_k: f64,
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
            return Self {
                cell: array::cell_from_back(back, poa, mounting),
                sigma: sigma::BACK_SENSOR,
                from_air: None,
                settling_k: 0.0,
            };
        }
        let sigma = match (air, wind) {
            (Some(_), Some(_)) => sigma::AIR_AND_WIND,
            (Some(_), None) => sigma::AIR_ONLY,
            (None, _) => sigma::NO_HEAT,
        };
        let air = air.map_or(ASSUMED_AIR, |s| Temperature::from_degc(s.mean));
        let wind = wind.map_or(ASSUMED_WIND, |s| Speed::from_m_s(s.mean));
        let back = array::faiman(poa, air, wind, mounting);
        Self {
            cell: array::cell_from_back(back, poa, mounting),
            sigma,
            from_air: Some(air),
            settling_k: 0.0,
        }
    }

    /// How far the light lifts the cells over the air it is computed from [K]: an error of the light
    /// errs here as well.
    pub fn rise_k(&self) -> f64 {
        self.from_air
            .map_or(0.0, |air| self.cell.degc() - air.degc())
    }

    /// One standard deviation [K], where a calibration has left so much of an offset.
    pub(super) fn sigma_k(&self, offset_sigma_k: Option<f64>) -> f64 {
        let settled = match offset_sigma_k {
            Some(left_k) => self
                .sigma
                .calibrated_k(self.rise_k(), left_k, self.offset_weight()),
            None => self.sigma.uncalibrated_k(self.rise_k()),
        };
        settled.hypot(sigma::OF_SETTLING * self.settling_k)
    }

    /// How much of an offset learned at the reference rise holds here [-]: in proportion to the rise
    /// where the temperature is computed from it, all of it where a sensor on a module is off.
    pub fn offset_weight(&self) -> f64 {
        self.from_air
            .map_or(1.0, |_| self.rise_k() / REFERENCE_RISE_K)
    }

    /// The same air and wind with another share of the light.
    pub(super) fn scaled(self, share: f64) -> Self {
        let Some(air) = self.from_air else {
            return self;
        };
        Self {
            cell: Temperature::from_degc(air.degc() + self.rise_k() * share),
            ..self
        }
    }
}

/// The cell temperature at the end of the latest slot of a plane: where its lag begins.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Inertia {
    end: Option<(Time, Temperature)>,
}

impl Inertia {
    /// Turns the steady temperature of a slot into the mean of what the cells reach in it, and goes
    /// on from there. A measured temperature, a long slot and a slot after a gap stay as they are.
    pub fn follow(&mut self, heat: &mut Heat, start: Time, slot: Span) {
        let steady = heat.cell;
        let before = self.end.filter(|(end, _)| *end == start);
        let lags = heat.from_air.is_some() && slot < STEADY_FROM;
        let reached = match before.filter(|_| lags) {
            Some((_, before)) => {
                let lagged = array::lagged(before, steady, slot);
                heat.settling_k = (steady.degc() - lagged.mean.degc()).abs();
                heat.cell = lagged.mean;
                lagged.end
            }
            None => steady,
        };
        self.end = Some((start + slot, reached));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOT: Span = Span::from_min(5);

    fn heat(cell_degc: f64) -> Heat {
        Heat {
            cell: Temperature::from_degc(cell_degc),
            sigma: sigma::AIR_AND_WIND,
            from_air: Some(Temperature::from_degc(20.0)),
            settling_k: 0.0,
        }
    }

    /// Cell temperatures of slots in a row, given the steady ones.
    fn followed(steady_degc: &[f64], slot: Span) -> Vec<f64> {
        let mut inertia = Inertia::default();
        let mut start = Time::from_unix_ms(0);
        let follow = |degc: &f64| {
            let mut heat = heat(*degc);
            inertia.follow(&mut heat, start, slot);
            start = start + slot;
            heat.cell.degc()
        };
        steady_degc.iter().map(follow).collect()
    }

    #[test]
    fn cells_follow_a_step_of_the_light_within_half_an_hour() {
        let cells = followed(&[60.0, 30.0, 30.0, 30.0, 30.0, 30.0, 30.0], SLOT);
        assert_eq!(cells[0], 60.0);
        assert!(cells.windows(2).all(|pair| pair[1] < pair[0]), "{cells:?}");
        assert!(cells[1] > 45.0 && cells[6] < 31.5, "{cells:?}");
    }

    #[test]
    fn long_slots_and_a_steady_light_show_no_lag() {
        assert_eq!(followed(&[60.0, 30.0], Span::from_min(15)), [60.0, 30.0]);
        assert_eq!(followed(&[40.0, 40.0], SLOT), [40.0, 40.0]);
    }

    #[test]
    fn a_gap_starts_afresh() {
        let mut inertia = Inertia::default();
        inertia.follow(&mut heat(60.0), Time::from_unix_ms(0), SLOT);
        let mut later = heat(30.0);
        inertia.follow(&mut later, Time::from_unix_ms(3_600_000), SLOT);
        assert_eq!(later.cell.degc(), 30.0);
    }
}
