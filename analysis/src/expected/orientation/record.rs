//! What several clear days say together about how a plane lies.
//!
//! Model:   x = <x_d>, weighed by w_d = 1 / sigma_d2 and Huber's weight
//!          sigma2 = max(1, b)2 sum(w_d2 noise_d2) / sum(w_d)2
//!                   + <model_d>2 + <|sky_d|>2 + <spectrum_d>2 + <diffuse_d>2 + floor2
//! Symbols: sigma_d2 = noise_d2 + model_d2 + sky_d2 + spectrum_d2 + diffuse_d2  of one day; the
//!          last three are the errors by one sigma of each, signed    all [deg]
//!          < >  weighted mean    b  robust scatter of the days about x over sigma_d [-]
//! Range:   5 days; adopted when both sigmas are below 2 deg and the shift is significant.
//! Source:  own. That days share the whole error of sky and models is the worst case and, by the
//!          ensemble, nearly so. The floor is engineering judgement: stamps that are some seconds
//!          off and the kind of glass turn all days alike; glass of another model (Martin and Ruiz)
//!          turns a flat roof's tilt by 2 deg.
//! Check:   below; `ensemble_tests`, coverage of what is adopted.
//!
//! A module's spectral response errs to the same side all year, but what it does to a tilt turns
//! round between winter and summer: it is signed, and days of both seasons take it out. A turbidity
//! errs by month, so that its size counts and not its sign.

use super::outcome::Refined;
use super::robust::Loss;
use super::sample::turned_deg;
use crate::plant::Plane;
use crate::reading::{Angle, SolarDay, median, robust_spread};
use serde::{Deserialize, Serialize};

const MIN_DAYS: usize = 5;
/// Largest number of days that are kept.
const MAX_DAYS: usize = 40;
/// Largest sigma of an adopted tilt or azimuth [deg].
const MAX_SIGMA_DEG: f64 = 2.0;
/// What all days share beside sky and spectrum [deg].
const FLOOR_DEG: f64 = 0.5;
/// Least squared shift over sigma, summed over both angles [-]: chi-square of two, 99 %.
const SIGNIFICANT: f64 = 9.21;
/// Rounds of Huber's weights: each takes most of what is left.
const ROUNDS: u32 = 10;

/// Fits of clear days, some numbers each.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct OrientationRecord {
    /// In order of date, no date twice.
    days: Vec<KeptDay>,
}

/// What several days say [deg].
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Refinement {
    /// From horizontal.
    pub tilt: Angle,
    /// Clockwise from north, 0 to 360.
    pub azimuth: Angle,
    /// One standard deviation.
    pub sigma_tilt: Angle,
    /// One standard deviation.
    pub sigma_azimuth: Angle,
    /// The days it rests on, in order.
    pub days: Vec<SolarDay>,
}

/// Whether the days outweigh what is stated.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum OrientationVerdict {
    /// What is stated stands: there is too little to speak against it.
    TooFewDays {
        /// Clear days so far.
        found: usize,
        /// At least.
        wanted: usize,
    },
    /// What is stated stands: the days leave too much open.
    TooWide(Refinement),
    /// What is stated stands: the days agree with it.
    AsStated(Refinement),
    /// The plane lies otherwise than stated.
    Adopted(Refinement),
}

#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct KeptDay {
    day: SolarDay,
    tilt: DayAngle,
    azimuth: DayAngle,
}

/// One angle of one day [deg].
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct DayAngle {
    value_deg: f64,
    noise_deg: f64,
    model_deg: f64,
    sky_deg: f64,
    spectrum_deg: f64,
    diffuse_deg: f64,
}

impl OrientationRecord {
    /// Takes a day; a day that is there already is replaced.
    pub fn add(&mut self, day: SolarDay, refined: &Refined) {
        let kept = KeptDay {
            day,
            tilt: DayAngle::of(refined.tilt, refined.sigma_tilt, refined, 0),
            azimuth: DayAngle::of(refined.azimuth, refined.sigma_azimuth, refined, 1),
        };
        match self.days.binary_search_by_key(&day, |kept| kept.day) {
            Ok(at) => self.days[at] = kept,
            Err(at) => self.days.insert(at, kept),
        }
        if self.days.len() > MAX_DAYS {
            self.thin();
        }
    }

    /// Whether the days outweigh the stated orientation.
    pub fn verdict(&self, stated: &Plane) -> OrientationVerdict {
        if self.days.len() < MIN_DAYS {
            return OrientationVerdict::TooFewDays {
                found: self.days.len(),
                wanted: MIN_DAYS,
            };
        }
        let tilts = self.days.iter().map(|d| d.tilt.from(stated.tilt.deg()));
        let from_stated = |d: &KeptDay| d.azimuth.turned_from(stated.azimuth.deg());
        let (tilt, sigma_tilt) = together(&tilts.collect::<Vec<_>>());
        let (azimuth, sigma_azimuth) =
            together(&self.days.iter().map(from_stated).collect::<Vec<_>>());
        let refinement = Refinement {
            tilt: Angle::from_deg(stated.tilt.deg() + tilt),
            azimuth: Angle::from_deg((stated.azimuth.deg() + azimuth).rem_euclid(360.0)),
            sigma_tilt: Angle::from_deg(sigma_tilt),
            sigma_azimuth: Angle::from_deg(sigma_azimuth),
            days: self.days.iter().map(|d| d.day).collect(),
        };
        let shift = (tilt / sigma_tilt).powi(2) + (azimuth / sigma_azimuth).powi(2);
        if sigma_tilt > MAX_SIGMA_DEG || sigma_azimuth > MAX_SIGMA_DEG {
            OrientationVerdict::TooWide(refinement)
        } else if shift < SIGNIFICANT {
            OrientationVerdict::AsStated(refinement)
        } else {
            OrientationVerdict::Adopted(refinement)
        }
    }

    /// Of the two days that are nearest in date the less sure one goes, so that the rest stays
    /// spread over the seasons.
    fn thin(&mut self) {
        let gap = |at: &usize| self.days[*at + 1].day.days_since(self.days[*at].day);
        let Some(at) = (0..self.days.len() - 1).min_by_key(gap) else {
            return;
        };
        let variance = |d: &KeptDay| d.tilt.variance() + d.azimuth.variance();
        let first_is_surer = variance(&self.days[at]) <= variance(&self.days[at + 1]);
        self.days.remove(if first_is_surer { at + 1 } else { at });
    }
}

impl DayAngle {
    fn of(value: Angle, sigma: Angle, refined: &Refined, which: usize) -> Self {
        let shared = [refined.sky, refined.spectrum, refined.diffuse].map(|by| by[which].deg());
        let [sky_deg, spectrum_deg, diffuse_deg] = shared;
        let rest = sigma.deg().powi(2) - shared.iter().map(|part| part.powi(2)).sum::<f64>();
        // They are inside the sigma; rounding may leave less than nothing.
        let rest = rest.max(0.0);
        Self {
            value_deg: value.deg(),
            noise_deg: (rest * (1.0 - refined.model_share)).sqrt(),
            model_deg: (rest * refined.model_share).sqrt(),
            sky_deg,
            spectrum_deg,
            diffuse_deg,
        }
    }

    fn from(self, stated_deg: f64) -> Self {
        Self {
            value_deg: self.value_deg - stated_deg,
            ..self
        }
    }

    fn turned_from(self, stated_deg: f64) -> Self {
        Self {
            value_deg: turned_deg(stated_deg, self.value_deg),
            ..self
        }
    }

    /// sigma_d2 [deg2].
    fn variance(&self) -> f64 {
        let parts = [
            self.noise_deg,
            self.model_deg,
            self.sky_deg,
            self.spectrum_deg,
            self.diffuse_deg,
        ];
        parts.iter().map(|part| part.powi(2)).sum()
    }
}

/// x and sigma [deg].
fn together(days: &[DayAngle]) -> (f64, f64) {
    let mut x = median(days.iter().map(|d| d.value_deg)).expect("there are days");
    for _ in 0..ROUNDS {
        x = mean(days, x, |d| d.value_deg);
    }
    let z = days.iter().map(|d| (d.value_deg - x) / d.variance().sqrt());
    let n = days.len() as f64;
    let between =
        (robust_spread(z, 0.0).expect("there are days") * (n / (n - 1.0)).sqrt()).max(1.0);
    let weights: f64 = days.iter().map(|d| 1.0 / d.variance()).sum();
    let noise = |d: &DayAngle| (d.noise_deg / d.variance()).powi(2);
    let noise = days.iter().map(noise).sum::<f64>() / weights.powi(2);
    let shared = [
        mean(days, x, |d| d.model_deg),
        mean(days, x, |d| d.sky_deg.abs()),
        mean(days, x, |d| d.spectrum_deg),
        mean(days, x, |d| d.diffuse_deg),
        FLOOR_DEG,
    ];
    let shared: f64 = shared.iter().map(|part| part.powi(2)).sum();
    let variance = between.powi(2) * noise + shared;
    (x, variance.sqrt())
}

/// Weighed by precision, and by Huber about `middle`.
fn mean(days: &[DayAngle], middle: f64, what: impl Fn(&DayAngle) -> f64) -> f64 {
    let (mut sum, mut weights) = (0.0, 0.0);
    for day in days {
        let z = (day.value_deg - middle) / day.variance().sqrt();
        let weight = Loss::Huber.weight(z) / day.variance();
        sum += weight * what(day);
        weights += weight;
    }
    sum / weights
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plant::Mounting;
    use crate::reading::Time;

    fn deg(value: f64) -> Angle {
        Angle::from_deg(value)
    }

    fn stated() -> Plane {
        Plane {
            id: "p".to_owned(),
            tilt: deg(30.0),
            azimuth: deg(355.0),
            mounting: Mounting::OPEN_RACK,
            albedo_ratio: 0.2,
            horizon: None,
        }
    }

    fn date(day: i64) -> SolarDay {
        Time::from_unix_ms(day * 86_400_000).solar_day(0.0)
    }

    fn refined(tilt: f64, azimuth: f64, sigma: f64) -> Refined {
        Refined {
            tilt: deg(tilt),
            azimuth: deg(azimuth),
            gain: 1.0,
            sigma_tilt: deg(sigma),
            sigma_azimuth: deg(sigma),
            sigma_gain_ratio: 0.01,
            correlation: 0.0,
            tilt_gain_correlation: 0.0,
            sky: [deg(0.0), deg(0.0)],
            spectrum: [deg(0.0), deg(0.0)],
            diffuse: [deg(0.0), deg(0.0)],
            model_share: 0.1,
            scatter_ratio: 0.01,
            samples: 90,
        }
    }

    fn record(days: impl IntoIterator<Item = (f64, f64, f64)>) -> OrientationRecord {
        let mut record = OrientationRecord::default();
        for (day, (tilt, azimuth, sigma)) in (0..).zip(days) {
            record.add(date(day), &refined(tilt, azimuth, sigma));
        }
        record
    }

    #[test]
    fn five_days_that_agree_are_adopted_across_the_turn_and_four_are_not() {
        let days = |n| record((0..n).map(|i| (36.0 + 0.1 * f64::from(i), 3.0, 1.0)));
        let four = days(4).verdict(&stated());
        assert_eq!(
            four,
            OrientationVerdict::TooFewDays {
                found: 4,
                wanted: 5
            }
        );
        let OrientationVerdict::Adopted(five) = days(5).verdict(&stated()) else {
            panic!("{:?}", days(5).verdict(&stated()));
        };
        assert!((five.tilt.deg() - 36.2).abs() < 0.01);
        assert!((five.azimuth.deg() - 3.0).abs() < 0.01);
        assert_eq!(five.days, (0..5).map(date).collect::<Vec<_>>());
    }

    #[test]
    fn a_small_shift_stays_as_stated_and_a_wide_one_is_not_taken() {
        let near = record([(30.3, 355.2, 1.0); 6]).verdict(&stated());
        assert!(matches!(near, OrientationVerdict::AsStated(_)), "{near:?}");
        let wide = record([(20.0, 3.0, 5.0); 5]).verdict(&stated());
        assert!(matches!(wide, OrientationVerdict::TooWide(_)), "{wide:?}");
    }

    #[test]
    fn days_that_disagree_widen_the_interval_and_one_wild_day_does_not_move_it() {
        let agree = [36.0, 36.2, 35.8, 36.1, 35.9, 36.0];
        let apart = [30.0, 42.0, 33.0, 39.0, 36.0, 36.0];
        let wild = [36.0, 36.2, 35.8, 36.1, 35.9, 22.0];
        let [agree, apart, wild] = [agree, apart, wild].map(|tilts| {
            match record(tilts.map(|tilt| (tilt, 355.0, 1.0))).verdict(&stated()) {
                OrientationVerdict::Adopted(r)
                | OrientationVerdict::TooWide(r)
                | OrientationVerdict::AsStated(r) => r,
                other => panic!("{other:?}"),
            }
        });
        assert!(apart.sigma_tilt.deg() > 2.0 * agree.sigma_tilt.deg());
        assert!((wild.tilt.deg() - agree.tilt.deg()).abs() < 0.5);
    }

    #[test]
    fn what_all_days_share_does_not_average_out() {
        let mut shared = OrientationRecord::default();
        for day in 0..30 {
            let sky = [deg(-1.5), deg(0.0)];
            let day_refined = Refined {
                sky,
                ..refined(36.0, 355.0, 1.8)
            };
            shared.add(date(day), &day_refined);
        }
        let OrientationVerdict::Adopted(r) = shared.verdict(&stated()) else {
            panic!("{:?}", shared.verdict(&stated()));
        };
        assert!(r.sigma_tilt.deg() > 1.5, "{r:?}");
        assert!(r.sigma_azimuth.deg() < 1.5, "{r:?}");
    }

    #[test]
    fn a_full_record_keeps_days_of_all_seasons_and_the_surer_of_neighbours() {
        let mut full = OrientationRecord::default();
        for day in 0..365 {
            let sigma = if day % 2 == 0 { 1.0 } else { 3.0 };
            full.add(date(day), &refined(30.0, 355.0, sigma));
        }
        assert_eq!(full.days.len(), MAX_DAYS);
        let gaps = full.days.windows(2).map(|d| d[1].day.days_since(d[0].day));
        assert!(gaps.max().is_some_and(|gap| gap <= 32));
        let sure = full.days.iter().filter(|d| d.tilt.noise_deg < 2.0);
        assert!(sure.count() > MAX_DAYS / 2);
        // A day that comes again takes its own place.
        full.add(full.days[3].day, &refined(31.0, 355.0, 1.0));
        assert_eq!(full.days.len(), MAX_DAYS);
        assert_eq!(full.days[3].tilt.value_deg, 31.0);
    }
}
