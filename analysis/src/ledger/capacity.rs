//! Capacity by regression: AC power at stated light, air temperature and wind, for the follow-up
//! after commissioning.
//!
//! Model:   `regression`, over slots with a sensor in every plane of the inverter, E of at least
//!          `LEAST_POA_W_M2` that has changed by at most `MOST_CHANGE_RATIO` since the slot before,
//!          and every input's gate valid with no limit acting on it or on the inverter.
//!          Interval: t_95 x standard error, the wider of that of the regression's covariance
//!          (n - k degrees of freedom) and that by days (G - 1).                            eq. (1)
//! Symbols: E in-plane irradiance, weighted by rated power over planes [W/m2]; others as in
//!          `regression`.
//! Range:   reporting conditions inside what the slots show; otherwise `CapacityError`.
//! Source:  ASTM E2848 (equation, filters and least points from memory, verify); its reporting
//!          conditions are the means of the slots unless stated, after ASTM E2939 (from memory). What
//!          the sensors are off is no part of the interval: about 3 % (common practice).
//! Check:   tests/reference/performance.rs; tests/acceptance/engine/performance.rs.

use super::datasheet::by_datasheet;
use super::rating::{REFERENCE_W_M2, Rating};
use super::regression::{Fit, FitFailure, Gram, TERMS, fit};
use crate::array::{ArrayError, FitError};
use crate::detect::{Gate, InverterSlot, Slot};
use crate::expected::WeatherRung;
use crate::plant::Plant;
use crate::reading::{Irradiance, Power, SolarDay, Speed, Temperature, Time, student_t_95};
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use thiserror::Error;

/// Least irradiance of a slot [W/m2] (common practice).
const LEAST_POA_W_M2: f64 = 400.0;
/// Largest change since the slot before (engineering judgement) [-].
const MOST_CHANGE_RATIO: f64 = 0.05;
/// Least slots (ASTM E2848, from memory) and days (common practice: 3 to 30).
const LEAST_SLOTS: u32 = 50;
const LEAST_DAYS: u32 = 3;
/// Share of the slots with wind from which it takes part (engineering judgement) [-].
const LEAST_WINDY_RATIO: f64 = 0.9;

/// The conditions at which a capacity is stated.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ReportingConditions {
    /// In the plane of the modules.
    pub poa: Irradiance,
    /// Air temperature.
    pub air: Temperature,
    /// Wind speed; `None` where it is not measured.
    pub wind: Option<Speed>,
}

/// The capacity of an inverter with its array.
#[derive(Debug, Clone, PartialEq)]
pub struct Capacity {
    /// Days from the first to the last slot that took part.
    pub days: RangeInclusive<SolarDay>,
    /// The regression.
    pub fit: Fit,
    /// Where it is stated.
    pub conditions: ReportingConditions,
    /// What the regression gives there.
    pub power: Power,
    /// Ends of its 95 % interval.
    pub low: Power,
    /// The upper one.
    pub high: Power,
    /// What the datasheets give there.
    pub expected: Power,
}

/// Why there is no capacity. Messages read after "failed to".
#[derive(Debug, Clone, PartialEq, Error)]
pub enum CapacityError {
    /// No bright slot has measured light in every plane.
    #[error(
        "find light from a sensor in each plane of the inverter: {bright} bright slots, none with it"
    )]
    NoPlaneSensor {
        /// Bright slots by any light.
        bright: u32,
    },
    /// The light is measured and the air is not.
    #[error("find an air temperature: {lit} slots in measured light, none with it")]
    NoAirTemperature {
        /// Slots in measured light.
        lit: u32,
    },
    /// Too few slots pass.
    #[error(
        "find enough slots: {found} of {lit} in measured light are steady, unlimited and bright, wanted {wanted}"
    )]
    TooFewSlots {
        /// Slots that pass.
        found: u32,
        /// Slots in measured light.
        lit: u32,
        /// Least.
        wanted: u32,
    },
    /// They lie in too few days.
    #[error("find enough days: {found} with slots that pass, wanted {wanted}")]
    TooFewDays {
        /// Days.
        found: u32,
        /// Least.
        wanted: u32,
    },
    /// The regression cannot be made.
    #[error(transparent)]
    Fit(#[from] FitFailure),
    /// Stated conditions that no slot comes near.
    #[error("state the capacity at {quantity} = {found:.1}: the slots show {low:.1} to {high:.1}")]
    OutsideSlots {
        /// Name with its unit.
        quantity: &'static str,
        /// Stated.
        found: f64,
        /// Least of the slots.
        low: f64,
        /// Largest of the slots.
        high: f64,
    },
    /// A datasheet cannot be fitted.
    #[error(transparent)]
    Datasheet(FitError),
    /// The conditions lie outside the one-diode model.
    #[error(transparent)]
    OutsideModel(ArrayError),
}

/// Adds up slots as they go by; holds sums for each inverter and day.
#[derive(Debug, Clone)]
pub struct CapacityTest {
    longitude_deg: f64,
    inverters: Vec<Watched>,
}

#[derive(Debug, Clone)]
struct Watched {
    rating: Rating,
    /// End of the slot before, and its irradiance [W/m2].
    before: Option<(Time, f64)>,
    days: BTreeMap<SolarDay, Day>,
}

/// What one day gives.
#[derive(Debug, Clone, Default)]
struct Day {
    bright: u32,
    lit: u32,
    lit_with_air: u32,
    windy: Gram,
    calm_unknown: Gram,
    poa: Extent,
    air: Extent,
    wind: Extent,
}

/// Sum and ends of a quantity.
#[derive(Debug, Clone, Copy)]
struct Extent {
    count: u32,
    sum: f64,
    low: f64,
    high: f64,
}

impl CapacityTest {
    /// Nothing yet.
    pub fn new(plant: &Plant) -> Self {
        let watched = |inverter| Watched {
            rating: Rating::of(plant, inverter),
            before: None,
            days: BTreeMap::new(),
        };
        Self {
            longitude_deg: plant.site.longitude.deg(),
            inverters: plant.inverters.iter().map(watched).collect(),
        }
    }

    /// Takes the next slot in order of time.
    pub fn add(&mut self, slot: &Slot) {
        let middle = slot.start + slot.span.half();
        let day = middle.solar_day(self.longitude_deg);
        for (watched, now) in self.inverters.iter_mut().zip(&slot.inverters) {
            watched.add(day, slot, now);
        }
    }

    /// The days that have a bright slot of an inverter.
    pub fn days(&self, inverter: usize) -> impl DoubleEndedIterator<Item = SolarDay> + '_ {
        self.inverters[inverter].days.keys().copied()
    }

    /// The capacity of an inverter by the slots of some days; without stated conditions at their
    /// means, where it is surest.
    ///
    /// # Errors
    /// Without a plane sensor or air temperature, with too few slots or days, or where what is stated
    /// lies outside what the slots show.
    pub fn capacity(
        &self,
        plant: &Plant,
        inverter: usize,
        days: RangeInclusive<SolarDay>,
        stated: Option<ReportingConditions>,
    ) -> Result<Capacity, CapacityError> {
        let used: Vec<(SolarDay, &Day)> = self.inverters[inverter]
            .days
            .range(days)
            .map(|(day, sums)| (*day, sums))
            .collect();
        let sum = |of: fn(&Day) -> u32| used.iter().map(|(_, day)| of(day)).sum::<u32>();
        let (windy, calm) = (sum(|d| d.windy.count), sum(|d| d.calm_unknown.count));
        let (lit, found) = (sum(|d| d.lit), windy + calm);
        if lit == 0 {
            let bright = sum(|d| d.bright);
            return Err(CapacityError::NoPlaneSensor { bright });
        }
        if sum(|d| d.lit_with_air) == 0 {
            return Err(CapacityError::NoAirTemperature { lit });
        }
        let with_wind = f64::from(windy) >= LEAST_WINDY_RATIO * f64::from(found);
        let gram = |day: &Day| {
            let mut gram = day.windy;
            if !with_wind {
                gram.merge(&day.calm_unknown);
            }
            gram
        };
        let grams: Vec<(SolarDay, Gram)> = used
            .iter()
            .map(|(day, sums)| (*day, gram(sums)))
            .filter(|(_, gram)| gram.count > 0)
            .collect();
        let found = grams.iter().map(|(_, gram)| gram.count).sum();
        if found < LEAST_SLOTS {
            let wanted = LEAST_SLOTS;
            return Err(CapacityError::TooFewSlots { found, lit, wanted });
        }
        let (Some((first, _)), Some((last, _))) = (grams.first(), grams.last()) else {
            return Err(CapacityError::TooFewDays {
                found: 0,
                wanted: LEAST_DAYS,
            });
        };
        if (grams.len() as u32) < LEAST_DAYS {
            return Err(CapacityError::TooFewDays {
                found: grams.len() as u32,
                wanted: LEAST_DAYS,
            });
        }
        let conditions = conditions(&used, with_wind, stated)?;
        let by_day: Vec<Gram> = grams.iter().map(|(_, gram)| *gram).collect();
        let fit = best_fit(&by_day, with_wind)?;
        let (power_w, half_w) = at(&fit, &conditions);
        let handover = (*first).start(self.longitude_deg);
        let of = &plant.inverters[inverter];
        Ok(Capacity {
            days: *first..=*last,
            conditions,
            power: Power::from_w(power_w),
            low: Power::from_w(power_w - half_w),
            high: Power::from_w(power_w + half_w),
            expected: by_datasheet(plant, of, handover, &conditions)?,
            fit,
        })
    }
}

impl Watched {
    fn add(&mut self, day: SolarDay, slot: &Slot, now: &InverterSlot) {
        let poa_of = |wanted: fn(WeatherRung) -> bool| {
            let reference = self.rating.reference(slot, wanted)?;
            Some(reference.power_w / self.rating.rated_w * REFERENCE_W_M2)
        };
        let poa = poa_of(|rung| rung == WeatherRung::PlaneSensor);
        let is_bright = |poa: &f64| *poa >= LEAST_POA_W_M2;
        let bright = poa_of(|_| true).filter(is_bright).is_some();
        let before = self.before.take();
        self.before = poa.map(|poa| (slot.start + slot.span, poa));
        if !bright {
            return;
        }
        let sums = self.days.entry(day).or_default();
        sums.bright += 1;
        let Some(poa) = poa.filter(is_bright) else {
            return;
        };
        sums.lit += 1;
        let Some(air) = slot.air else { return };
        sums.lit_with_air += 1;
        let steady = before.is_some_and(|(end, before)| {
            end == slot.start && (poa - before).abs() <= MOST_CHANGE_RATIO * poa
        });
        let Some(power) = now.ac_power.filter(|_| steady && is_free(now)) else {
            return;
        };
        sums.poa.add(poa);
        sums.air.add(air.degc());
        match slot.wind {
            Some(wind) => {
                sums.wind.add(wind.m_s());
                sums.windy.add(poa, air.degc(), wind.m_s(), power.w());
            }
            None => sums.calm_unknown.add(poa, air.degc(), 0.0, power.w()),
        }
    }
}

/// With the term of the wind where that is measured and changes: a wind that is the same in every
/// slot (a sensor that stands still) tells nothing beside the light.
fn best_fit(days: &[Gram], with_wind: bool) -> Result<Fit, FitFailure> {
    let without = || fit(days, TERMS - 1);
    if !with_wind {
        return without();
    }
    match fit(days, TERMS) {
        Err(FitFailure::Alike { term: TERMS, .. }) => without(),
        other => other,
    }
}

/// Whether an inverter gives what its array offers, as far as anybody can tell.
fn is_free(now: &InverterSlot) -> bool {
    let inputs = now.inputs.iter();
    now.limit.is_none()
        && now.producing != Some(false)
        && inputs.fold(true, |free, input| {
            free && input.gate == Gate::Valid && input.limit.is_none()
        })
}

/// The stated conditions, if the slots reach so far; else their means.
fn conditions(
    days: &[(SolarDay, &Day)],
    with_wind: bool,
    stated: Option<ReportingConditions>,
) -> Result<ReportingConditions, CapacityError> {
    let extent = |of: fn(&Day) -> Extent| {
        let all = days.iter().map(|(_, day)| of(day));
        all.fold(Extent::default(), Extent::with)
    };
    let (poa, air) = (extent(|d| d.poa), extent(|d| d.air));
    let wind = with_wind.then(|| extent(|d| d.wind));
    let Some(stated) = stated else {
        return Ok(ReportingConditions {
            poa: Irradiance::from_w_m2(poa.mean()),
            air: Temperature::from_degc(air.mean()),
            wind: wind.map(|wind| Speed::from_m_s(wind.mean())),
        });
    };
    poa.check("poa_w_m2", stated.poa.w_m2())?;
    air.check("air_temperature_degc", stated.air.degc())?;
    let wind = wind.map(|wind| {
        // Where nothing is said of the wind, it is as it was.
        let speed = stated.wind.map_or(wind.mean(), |speed| speed.m_s());
        wind.check("wind_speed_m_s", speed)
            .map(|()| Speed::from_m_s(speed))
    });
    Ok(ReportingConditions {
        wind: wind.transpose()?,
        ..stated
    })
}

/// Power at some conditions and half the width of its interval [W].
fn at(fit: &Fit, conditions: &ReportingConditions) -> (f64, f64) {
    let (e, t) = (conditions.poa.w_m2(), conditions.air.degc());
    let v = conditions.wind.map_or(0.0, |wind| wind.m_s());
    let half = |freedom: u32, sigma_w: Option<f64>| {
        let both = student_t_95(freedom).zip(sigma_w);
        both.map_or(0.0, |(t, sigma_w)| t * sigma_w)
    };
    let independent = half(
        fit.points.saturating_sub(fit.terms as u32),
        Some(fit.sigma_w(e, t, v)),
    );
    let by_days = half(fit.days.saturating_sub(1), fit.sigma_by_days_w(e, t, v));
    (fit.power_w(e, t, v), independent.max(by_days)) // eq. (1)
}

impl Default for Extent {
    fn default() -> Self {
        Self {
            count: 0,
            sum: 0.0,
            low: f64::INFINITY,
            high: f64::NEG_INFINITY,
        }
    }
}

impl Extent {
    fn add(&mut self, value: f64) {
        self.count += 1;
        self.sum += value;
        self.low = self.low.min(value);
        self.high = self.high.max(value);
    }

    fn with(self, other: Self) -> Self {
        Self {
            count: self.count + other.count,
            sum: self.sum + other.sum,
            low: self.low.min(other.low),
            high: self.high.max(other.high),
        }
    }

    fn mean(&self) -> f64 {
        self.sum / f64::from(self.count)
    }

    fn check(&self, quantity: &'static str, found: f64) -> Result<(), CapacityError> {
        // NaN is inside of nothing.
        if found >= self.low && found <= self.high {
            return Ok(());
        }
        Err(CapacityError::OutsideSlots {
            quantity,
            found,
            low: self.low,
            high: self.high,
        })
    }
}
