//! Whether an array is wet, from what a weather station measures.
//!
//! Model:   wet if it has rained in the last 24 h, or the relative humidity is above 90 %, or the
//!          module (or the air, where no module is measured) is less than 2 K above the dew point.
//!          Dew point:  g = ln H + b T / (c + T),  T_d = c g / (b - g)                       eq. (1)
//! Symbols: H relative humidity [-]   T, T_d air temperature, dew point [degC]   b [-], c [degC]
//! Range:   H > 0, T from -45 to 60 degC (of the constants); outside it: no dew point.
//! Source:  wet or dry: engineering judgement. Dew point: Magnus formula over water with the
//!          constants of Sonntag (1990), as in WMO-No. 8 (from memory, verify).
//! Check:   tests below: dew points of printed tables to their last digit.
//!
//! Rain alone cannot say that it is dry: dew comes without it. Where no humidity is measured, a
//! morning without rain stays open.
//! Never in here: resistance.

use crate::reading::{Quantity, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Magnus constants over water.
const MAGNUS_B: f64 = 17.62;
const MAGNUS_C_DEGC: f64 = 243.12;
const MAGNUS_DEGC: std::ops::RangeInclusive<f64> = -45.0..=60.0;

/// Rain counts this long.
const RAIN_KEPT: Span = Span::from_h(24);
/// Rain from which it has rained [mm]: one tip of a common gauge.
const RAINED_MM: f64 = 0.2;
/// Relative humidity above which surfaces are wet [-].
const HUMID_RATIO: f64 = 0.9;
/// Surface over dew point below which it is wet [K].
const NEAR_DEW_K: f64 = 2.0;
/// Older values than this say nothing of now.
const FRESH: Span = Span::from_min(30);

/// What has lately been measured of water.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct Moisture {
    /// Rain by hour [mm], dry hours left out.
    rain: VecDeque<(Time, f64)>,
    rain_heard: Option<Time>,
    humidity_ratio: Option<(Time, f64)>,
    air_degc: Option<(Time, f64)>,
    module_degc: Option<(Time, f64)>,
}

/// What is known of water at one time.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Dampness {
    /// Rain of the last 24 hours [mm]; of all gauges, where there are several.
    pub rain_mm: Option<f64>,
    /// Relative humidity [-].
    pub humidity_ratio: Option<f64>,
    /// Module, or air where no module is measured, over the dew point [K].
    pub dew_point_spread_k: Option<f64>,
    /// Of a module, or of the air where no module is measured [degC].
    pub temperature_degc: Option<f64>,
}

impl Moisture {
    /// Nothing measured yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a value of a weather channel; others change nothing.
    pub fn take(&mut self, at: Time, quantity: Quantity, value: f64) {
        match quantity {
            Quantity::Rain => self.rain(at, value),
            Quantity::RelativeHumidity if value > 0.0 => self.humidity_ratio = Some((at, value)),
            Quantity::AirTemperature => self.air_degc = Some((at, value)),
            Quantity::ModuleTemperature => self.module_degc = Some((at, value)),
            _ => {}
        }
    }

    fn rain(&mut self, at: Time, mm: f64) {
        self.rain_heard = Some(at);
        let hour = at.slot_start(Span::from_h(1));
        match self.rain.back_mut() {
            Some((latest, sum)) if *latest == hour => *sum += mm,
            _ if mm > 0.0 => self.rain.push_back((hour, mm)),
            _ => {}
        }
        while self
            .rain
            .front()
            .is_some_and(|(first, _)| at - *first > RAIN_KEPT)
        {
            self.rain.pop_front();
        }
    }

    /// What is known now.
    pub fn now(&self, at: Time) -> Dampness {
        let fresh = |kept: Option<(Time, f64)>| kept.filter(|(t, _)| at - *t <= FRESH).map(|k| k.1);
        let (air, humidity) = (fresh(self.air_degc), fresh(self.humidity_ratio));
        let surface = fresh(self.module_degc).or(air);
        let dew_point = air.zip(humidity).and_then(|(t, h)| dew_point_degc(t, h));
        let lately = |(hour, _): &&(Time, f64)| at - *hour <= RAIN_KEPT;
        let rain = self.rain.iter().filter(lately).map(|(_, mm)| mm).sum();
        Dampness {
            rain_mm: self
                .rain_heard
                .filter(|t| at - *t <= RAIN_KEPT)
                .map(|_| rain),
            humidity_ratio: humidity,
            dew_point_spread_k: surface.zip(dew_point).map(|(t, dew)| t - dew),
            temperature_degc: surface,
        }
    }
}

impl Dampness {
    /// Whether it is wet; `None` where what is measured cannot tell.
    pub fn is_wet(&self) -> Option<bool> {
        let rained = self.rain_mm.is_some_and(|mm| mm >= RAINED_MM);
        let humid = self.humidity_ratio.map(|ratio| ratio > HUMID_RATIO);
        let dewy = self.dew_point_spread_k.map(|k| k < NEAR_DEW_K);
        if rained || humid == Some(true) || dewy == Some(true) {
            return Some(true);
        }
        humid.or(dewy)
    }
}

/// Temperature at which water condenses from air of this temperature and humidity, eq. (1).
fn dew_point_degc(air_degc: f64, humidity_ratio: f64) -> Option<f64> {
    if humidity_ratio <= 0.0 || !MAGNUS_DEGC.contains(&air_degc) {
        return None;
    }
    let g = humidity_ratio.ln() + MAGNUS_B * air_degc / (MAGNUS_C_DEGC + air_degc);
    Some(MAGNUS_C_DEGC * g / (MAGNUS_B - g))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(min: i64) -> Time {
        Time::from_unix_ms(min * 60_000)
    }

    /// Kind of truth: reference. Dew points as common psychrometric tables print them (from memory,
    /// verify): 20 degC and 50 %: 9.3; 30 degC and 60 %: 21.4; 10 degC and 80 %: 6.7 degC.
    #[test]
    fn dew_points_are_those_of_printed_tables() {
        const TOLERANCE_K: f64 = 0.06; // printed to a tenth
        for (air, humidity, wanted) in [(20.0, 0.5, 9.3), (30.0, 0.6, 21.4), (10.0, 0.8, 6.7)] {
            let dew = dew_point_degc(air, humidity).expect("in range");
            assert!(
                (dew - wanted).abs() < TOLERANCE_K,
                "{air} degC {humidity}: {dew}"
            );
        }
        assert_eq!(dew_point_degc(80.0, 0.5), None);
        assert!(dew_point_degc(20.0, 1.0).is_some_and(|dew| (dew - 20.0).abs() < 1e-9));
    }

    fn known(values: &[(Quantity, f64)]) -> Dampness {
        let mut moisture = Moisture::new();
        for (quantity, value) in values {
            moisture.take(at(0), *quantity, *value);
        }
        moisture.now(at(10))
    }

    #[test]
    fn rain_humidity_and_a_cold_module_are_wet_each_alone() {
        use Quantity::{AirTemperature, ModuleTemperature, Rain, RelativeHumidity};
        type Case<'a> = (&'a [(Quantity, f64)], Option<bool>);
        let cases: [Case; 8] = [
            (&[], None),
            (&[(AirTemperature, 12.0)], None),
            (&[(Rain, 0.0)], None),
            (&[(Rain, 0.4)], Some(true)),
            (&[(RelativeHumidity, 0.93)], Some(true)),
            (&[(RelativeHumidity, 0.7), (Rain, 0.0)], Some(false)),
            // 15 degC and 85 %: dew point 12.5 degC.
            (
                &[(RelativeHumidity, 0.85), (AirTemperature, 15.0)],
                Some(false),
            ),
            // The module has cooled against the sky.
            (
                &[
                    (RelativeHumidity, 0.85),
                    (AirTemperature, 15.0),
                    (ModuleTemperature, 13.0),
                ],
                Some(true),
            ),
        ];
        for (values, wanted) in cases {
            assert_eq!(known(values).is_wet(), wanted, "{values:?}");
        }
    }

    #[test]
    fn rain_counts_for_a_day_and_an_old_humidity_for_half_an_hour() {
        let mut moisture = Moisture::new();
        moisture.take(at(0), Quantity::RelativeHumidity, 0.95);
        moisture.take(at(0), Quantity::Rain, 3.0);
        moisture.take(at(5), Quantity::Rain, 1.0);
        assert_eq!(moisture.now(at(29)).humidity_ratio, Some(0.95));
        assert_eq!(moisture.now(at(31)).humidity_ratio, None);
        moisture.take(at(23 * 60), Quantity::Rain, 0.0);
        assert_eq!(moisture.now(at(23 * 60)).rain_mm, Some(4.0));
        moisture.take(at(25 * 60), Quantity::Rain, 0.0);
        assert_eq!(moisture.now(at(25 * 60)).rain_mm, Some(0.0));
        assert_eq!(
            moisture.now(at(50 * 60)).rain_mm,
            None,
            "the gauge is silent"
        );
    }
}
