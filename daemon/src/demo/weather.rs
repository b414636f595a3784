//! The demo's weather: clear sky, drifting clouds, air and wind. Invented; for the demo only.

use super::scenario::{CLOUDS, IS_WET, START};
use analysis::reading::{Span, Time};
use fastrand::Rng;

/// Weather of one minute.
#[derive(Debug, Clone, Copy)]
pub struct Weather {
    /// Share of the clear-sky light that comes through [-].
    pub clearness: f64,
    /// Air temperature [degC].
    pub air_degc: f64,
    /// Wind at module height [m/s].
    pub wind_m_s: f64,
    /// Relative humidity [-].
    pub humidity_ratio: f64,
}

/// Clouds that drift from minute to minute.
#[derive(Debug)]
pub struct Sky {
    rng: Rng,
    /// Wanders between about -2 and 2; cloud where it is under the day's share.
    drift: f64,
    gust: f64,
}

impl Sky {
    /// The same sky every time.
    pub fn new() -> Self {
        Self {
            rng: Rng::with_seed(20_261_110),
            drift: 0.0,
            gust: 0.0,
        }
    }

    /// The weather at a time; call it minute by minute.
    pub fn at(&mut self, at: Time) -> Weather {
        let days = (at - START).hours() / 24.0;
        let hour = days.fract() * 24.0;
        let share = CLOUDS[(days as usize).min(CLOUDS.len() - 1)];
        self.drift = 0.93 * self.drift + 0.37 * self.noise();
        self.gust = 0.9 * self.gust + 0.3 * self.noise();
        let threshold = 3.0 * share - 1.9;
        let cloud = 1.0 / (1.0 + (-(threshold - self.drift) / 0.15).exp());
        let rain = if IS_WET.holds(at) { 0.75 } else { 0.0 };
        let day_arc = ((hour - 9.0) / 24.0 * std::f64::consts::TAU).sin();
        Weather {
            clearness: (1.0 - 0.68 * cloud.max(rain)).max(0.05),
            air_degc: 15.0 + 6.0 * day_arc,
            wind_m_s: (2.2 + 0.8 * day_arc + self.gust).max(0.1),
            humidity_ratio: if IS_WET.holds(at + Span::from_h(2)) {
                0.97
            } else {
                0.55
            },
        }
    }

    /// About normal, mean 0, standard deviation 1.
    fn noise(&mut self) -> f64 {
        (0..12).map(|_| self.rng.f64()).sum::<f64>() - 6.0
    }
}
