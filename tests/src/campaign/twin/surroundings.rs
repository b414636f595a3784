//! What is round a drawn plant: the heat of its modules, air, wind, water in it, and what its owner
//! may feed in.
//! Never in here: curves.

use super::super::inject::{Act, Standing};
use super::super::sky::{self, Air, Ground};
use super::super::sun::Sun;
use super::Twin;
use crate::plant::{normal, uniform};
use analysis::reading::{Span, Time};

impl Twin {
    pub(super) fn warm(&mut self, at: Time) {
        let sun = Sun::at(at, self.truth.latitude_deg, self.truth.longitude_deg);
        if sun.elevation_deg < -1.0 {
            self.warm_k.iter_mut().for_each(|k| *k *= 0.85);
            return;
        }
        let clear = self.clear(&sun, at);
        let ground = self.ground(&sun, &clear, at, 0.0);
        let wind = self.wind_m_s(at);
        for (p, on) in self.planes(&ground, &sun).iter().enumerate() {
            let plane = &self.truth.planes[p];
            let poa = on.total();
            let back = poa * (plane.heat[0] + plane.heat[1] * wind).exp();
            let steady = back + plane.cell_over_back_k * poa / 1000.0;
            let share = 1.0 - (-60.0 / plane.inertia_s).exp();
            self.warm_k[p] += share * (steady - self.warm_k[p]);
        }
    }

    pub(super) fn clear(&self, sun: &Sun, at: Time) -> Ground {
        let (day, _) = self.day_of(at);
        let haze = self.truth.haze * (1.0 + 0.12 * normal(self.truth.seed ^ 0xA12, day as u64));
        let altitude_km = self.truth.altitude_km;
        sky::clear_sky(sun, &Air { altitude_km, haze })
    }

    pub(super) fn air_degc(&self, at: Time) -> f64 {
        const WARMEST_H: f64 = 15.0;
        let (day, t_s) = self.day_of(at);
        let [mean, year, swing] = self.truth.air;
        let days = at.unix_ms() as f64 / 86_400_000.0;
        // Warmest by the end of July in the north, of January in the south.
        let north = self.truth.latitude_deg.signum();
        let season = north * ((days - 206.0) / 365.25 * std::f64::consts::TAU).cos();
        let hour = ((t_s / 3600.0 - WARMEST_H) / 24.0 * std::f64::consts::TAU).cos();
        let weather = 2.5 * normal(self.truth.seed ^ 0xA1A, day as u64);
        let degc = mean + year * season + swing * hour + weather;
        let frosty = self.fault.as_ref().is_some_and(|f| {
            f.act == Act::Snow
                && f.began - Span::from_h(12) <= at
                && f.until.is_none_or(|until| at < until)
        });
        if frosty {
            degc.min(-3.0 + 2.0 * hour)
        } else {
            degc
        }
    }

    pub(super) fn wind_m_s(&self, at: Time) -> f64 {
        let hours = at.unix_ms() as u64 / 3_600_000;
        let minutes = at.unix_ms() as u64 / 60_000;
        let of_hour = (0.7 + 0.5 * normal(self.truth.seed ^ 0xF1, hours / 4)).exp();
        (of_hour * (0.7 + 0.6 * uniform(self.truth.seed ^ 0xF2, minutes))).min(15.0)
    }

    /// Measured once, at first light; wet after rain.
    pub(super) fn measure_insulation(&mut self, at: Time, sun: &Sun) {
        let (day, _) = self.day_of(at);
        if sun.elevation_deg > 5.0 || sun.elevation_deg < -1.0 {
            return;
        }
        let wet = self.clouds.rain_mm(day) > 0.0;
        let (dry, left) = self.truth.insulation;
        let scatter = 10_f64.powf(0.08 * normal(self.truth.seed ^ 0x150, day as u64));
        self.insulation_ohm = dry * scatter * if wet { left } else { 1.0 };
    }

    pub(super) fn leak_a(&self, standing: &Standing, at: Time) -> f64 {
        let sound = 0.01 + self.mind.rated_w() / 1000.0 * 4e-4;
        let noise = 1.0 + 0.1 * normal(self.truth.seed ^ 0x1EA, at.unix_ms() as u64);
        standing.leak_a().unwrap_or(sound) * noise
    }

    /// What the inverter may pass on over its rated power, and what its register says.
    pub(super) fn limit(&self, at: Time, standing: &Standing) -> (f64, f64) {
        let (day, t_s) = self.day_of(at);
        if let Some((ratio, says)) = standing.limit() {
            return (ratio, if says { ratio } else { 1.0 });
        }
        let some_days = uniform(self.truth.seed ^ 0x117, day as u64) < 0.3;
        let hour = t_s / 3600.0;
        match self.truth.export_limit {
            Some(ratio) if some_days && (10.0..15.0).contains(&hour) => (ratio, ratio),
            _ => (1.0, 1.0),
        }
    }
}
