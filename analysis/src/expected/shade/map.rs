//! What is known of the shade on one input, cell by cell of the sky.
//!
//! Model:   a cell keeps the latest five clear days on which the sun was in it. Its shade is their
//!          median (the lower one of two), of beam and of voltage each, once there are three. A cell
//!          that has always been clean starts with two clean days before the first that was not:
//!          shade is known on the third day either way, and forgotten as fast.
//!          Where the sun has not been on three days, the cells at the same azimuth in the rows above
//!          and below speak for it, the cleaner of the two.
//!          Spring and autumn share their cells: what a tree with leaves changes is learned again in
//!          three days, and is never new where there was shade before.
//! Symbols: shares dimensionless, kept in steps of 1/200.
//! Range:   any sun above the horizon; nothing known is no shade.
//! Source:  own; days as in the project's design (a finding within five clear days, then expected).
//! Check:   tests below; tests/acceptance/engine/shade.rs for the whole.

use super::day::{CellDay, Past, ShadeDay, ShadeSample, cells_of};
use super::{Shade, SkyCell};
use crate::reading::{SolarDay, Span};
use crate::sky::SunPosition;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Days that a cell keeps, days that it must have, and clean days that stand before the first loss.
const KEPT: usize = 5;
const KNOWN_FROM: usize = 3;
const CLEAN_BEFORE: u8 = 2;
/// Clean days after which a cell counts as clean: shade there is new.
const WAS_CLEAN_FROM: u8 = 3;
/// The sun comes back to a cell or its neighbours within this many days, or much later.
const COMES_BACK_DAYS: u16 = 14;
/// Steps of a share.
const STEPS: f64 = 200.0;
/// A clear sky's share of beam, to say what shade takes of the power there [-].
const CLEAR_BEAM: f64 = 0.85;

/// The shade on one input.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ShadeMap {
    cells: BTreeMap<SkyCell, Cell>,
    today: Option<(SolarDay, Vec<ShadeSample>)>,
    /// A day on which something else was wrong.
    distrusted: Option<SolarDay>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct Cell {
    /// Number of the latest day, from 1970 on.
    seen: u16,
    /// Clean days, as far as one byte counts.
    clean: u8,
    /// Whether shade was ever known here.
    was_shaded: bool,
    /// The latest days, oldest first; empty while all are clean.
    days: Vec<Steps>,
}

/// A shade in steps.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
struct Steps {
    beam: u8,
    voltage: u8,
}

impl ShadeMap {
    /// Nothing known.
    pub fn new() -> Self {
        Self::default()
    }

    /// What is expected with the sun there.
    pub fn at(&self, sun: &SunPosition) -> Shade {
        SkyCell::of(sun).map_or(Shade::NONE, |cell| self.expected(cell))
    }

    /// Whether shade is known, or was seen the last time, with the sun about there.
    pub fn is_near(&self, sun: &SunPosition) -> bool {
        let cell = SkyCell::of(sun);
        cell.is_some_and(|cell| self.any(cell, 2, |c| c.is_shaded() || c.lost_last()))
    }

    /// Takes a valid slot, compared with what the input would give without shade.
    pub fn add(&mut self, day: SolarDay, sample: ShadeSample) {
        match &mut self.today {
            Some((today, samples)) if *today == day => samples.push(sample),
            _ => self.today = Some((day, vec![sample])),
        }
    }

    /// Something else is wrong today: the day will teach nothing.
    pub fn distrust_today(&mut self, day: SolarDay) {
        self.distrusted = Some(day);
    }

    /// Throws away what was seen today: time has gone back.
    pub fn forget_today(&mut self) {
        self.today = None;
    }

    /// Learns from the day that has ended, if one has that was clear enough.
    pub fn close_day(&mut self, today: SolarDay, slot: Span) -> Option<ShadeDay> {
        let (day, samples) = self.today.take_if(|(day, _)| *day < today)?;
        if self.distrusted == Some(day) {
            return None;
        }
        let mut cells = cells_of(&samples, slot)?;
        let number = day.number() as u16;
        for of_day in &mut cells {
            of_day.known_ratio = self.expected(of_day.cell).power_ratio(CLEAR_BEAM);
            of_day.past = self.past(of_day.cell, number);
        }
        for of_day in &cells {
            self.learn(of_day, number);
        }
        Some(ShadeDay { day, cells })
    }

    fn learn(&mut self, of_day: &CellDay, number: u16) {
        let cell = self.cells.entry(of_day.cell).or_default();
        // Where time has gone back, a day ends twice.
        if cell.seen < number {
            cell.take(number, Steps::of(of_day.shade));
        }
    }

    fn expected(&self, cell: SkyCell) -> Shade {
        let known = |cell: SkyCell| self.cells.get(&cell)?.known();
        let beside = || {
            let rows = [1, -1].into_iter().filter_map(|row| cell.beside(row));
            rows.filter_map(known).min_by(|a, b| {
                let power = |s: &Shade| s.power_ratio(CLEAR_BEAM);
                power(a).total_cmp(&power(b))
            })
        };
        known(cell).or_else(beside).unwrap_or(Shade::NONE)
    }

    fn past(&self, cell: SkyCell, number: u16) -> Past {
        let own = self.cells.get(&cell);
        let lately = |c: &Cell| number.saturating_sub(c.seen) <= COMES_BACK_DAYS;
        Past {
            repeats: self.any(cell, 1, |c| c.lost_last() && lately(c)),
            was_clean: own.is_some_and(|c| c.clean >= WAS_CLEAN_FROM),
            was_shaded: own.is_some_and(|c| c.was_shaded),
            beside_shade: self.any(cell, 2, Cell::is_shaded),
        }
    }

    fn any(&self, cell: SkyCell, columns: u8, is: impl Fn(&Cell) -> bool) -> bool {
        let around = || cell.around(columns).filter_map(|c| self.cells.get(&c));
        around().any(is)
    }
}

impl Cell {
    fn take(&mut self, number: u16, of_day: Steps) {
        let is_clean = of_day == Steps::default();
        if is_clean {
            self.clean = self.clean.saturating_add(1);
        } else if self.days.is_empty() {
            let before = self.clean.min(CLEAN_BEFORE);
            self.days = vec![Steps::default(); usize::from(before)];
        }
        self.seen = number;
        if !is_clean || !self.days.is_empty() {
            self.days.push(of_day);
        }
        if self.days.len() > KEPT {
            self.days.remove(0);
        }
        if self.days.iter().all(|d| *d == Steps::default()) {
            self.days.clear();
        }
        self.was_shaded |= self.is_shaded();
    }

    /// `None` where the sun was on too few days.
    fn known(&self) -> Option<Shade> {
        if self.days.is_empty() {
            return (usize::from(self.clean) >= KNOWN_FROM).then_some(Shade::NONE);
        }
        if self.days.len() < KNOWN_FROM {
            return None;
        }
        let lower_median = |of: fn(&Steps) -> u8| {
            let mut sorted: Vec<u8> = self.days.iter().map(of).collect();
            sorted.sort_unstable();
            f64::from(sorted[(sorted.len() - 1) / 2]) / STEPS
        };
        Some(Shade {
            beam_ratio: lower_median(|d| d.beam),
            voltage_ratio: lower_median(|d| d.voltage),
        })
    }

    fn is_shaded(&self) -> bool {
        self.known().is_some_and(|shade| !shade.is_none())
    }

    fn lost_last(&self) -> bool {
        self.days.last().is_some_and(|d| *d != Steps::default())
    }
}

impl Steps {
    fn of(shade: Shade) -> Self {
        let steps = |ratio: f64| (ratio * STEPS).round() as u8;
        Self {
            beam: steps(shade.beam_ratio),
            voltage: steps(shade.voltage_ratio),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Angle, Time};

    const SLOT: Span = Span::from_min(5);

    fn sun(hour: f64) -> SunPosition {
        let zenith = Angle::from_deg(40.0 + 10.0 * (hour - 12.0).abs());
        SunPosition {
            apparent_zenith: zenith,
            zenith,
            azimuth: Angle::from_deg(15.0 * hour),
        }
    }

    /// Days from 8 to 16 h; what is left of current and voltage by day and hour.
    fn after(days: i64, beam_share: f32, left: impl Fn(i64, f64) -> (f64, f64)) -> ShadeMap {
        let mut map = ShadeMap::new();
        for d in 0..=days {
            let midnight = Time::from_unix_ms((20_000 + d) * 86_400_000);
            let day = midnight.solar_day(0.0);
            map.close_day(day, SLOT);
            for n in 96..192 {
                let hour = f64::from(n) / 12.0;
                let (current, voltage) = left(d, hour);
                map.add(
                    day,
                    ShadeSample {
                        start: midnight + SLOT * i64::from(n),
                        cell: SkyCell::of(&sun(hour)).expect("sun is up"),
                        beam_share,
                        current_ratio: current as f32,
                        voltage_ratio: voltage as f32,
                        sigma: 0.02,
                        expected_wh: 100.0,
                    },
                );
            }
        }
        map
    }

    fn in_the_morning(hour: f64, left: f64) -> f64 {
        if (9.0..10.0).contains(&hour) {
            left
        } else {
            1.0
        }
    }

    #[test]
    fn shade_is_known_after_three_days_and_forgotten_after_three_without() {
        let shaded = |from: i64, to: i64| {
            move |d: i64, hour: f64| {
                let left = if (from..to).contains(&d) { 0.6 } else { 1.0 };
                (in_the_morning(hour, left), 1.0)
            }
        };
        for from in [0, 9] {
            let beam = |days| after(days, 0.8, shaded(from, 99)).at(&sun(9.5)).beam_ratio;
            assert_eq!(beam(from + 2), 0.0, "from day {from}");
            // 40 % of the light gone are half of a beam that is 80 % of it.
            assert!((beam(from + 3) - 0.5).abs() < 0.01, "from day {from}");
        }
        let map = after(9, 0.8, shaded(0, 5));
        assert_eq!(map.at(&sun(9.5)), Shade::NONE);
        let map = after(9, 0.8, shaded(0, 99));
        assert_eq!(map.at(&sun(12.0)), Shade::NONE);
        assert!(map.is_near(&sun(10.2)) && !map.is_near(&sun(12.0)));
    }

    #[test]
    fn what_is_lost_all_day_and_what_diffuse_light_shows_is_no_shade() {
        let all_day = after(9, 0.8, |_, _| (0.5, 0.97));
        assert_eq!(all_day.at(&sun(9.5)), Shade::NONE);
        let overcast = after(9, 0.3, |_, hour| (in_the_morning(hour, 0.6), 1.0));
        assert_eq!(overcast.at(&sun(9.5)), Shade::NONE);
    }

    #[test]
    fn sections_that_are_passed_by_take_voltage_and_only_in_beam() {
        let map = after(5, 0.8, |_, hour| (1.0, in_the_morning(hour, 0.82)));
        let shade = map.at(&sun(9.5));
        assert_eq!(shade.beam_ratio, 0.0);
        assert!((shade.voltage_ratio - 0.18).abs() < 0.01, "{shade:?}");
        assert_eq!(shade.power_ratio(0.1), 0.0);
    }

    #[test]
    fn one_bad_day_in_five_teaches_nothing() {
        let map = after(12, 0.8, |d, hour| {
            (
                if d % 5 == 3 {
                    in_the_morning(hour, 0.3)
                } else {
                    1.0
                },
                1.0,
            )
        });
        assert_eq!(map.at(&sun(9.5)), Shade::NONE);
    }

    /// All of an inverter's state may take 256 KiB, and twelve inputs are many.
    #[test]
    fn half_a_sky_in_the_shade_takes_few_bytes() {
        let mut map = ShadeMap::new();
        for d in 0..400 {
            let day = Time::from_unix_ms((20_000 + d) * 86_400_000).solar_day(0.0);
            map.close_day(day, SLOT);
            // The sun's path over 35 deg of latitude through the year, roughly.
            let noon_deg = 55.0 + 23.4 * (d as f64 / 58.1).sin();
            for n in 72..216 {
                let hour = f64::from(n) / 12.0;
                let up_deg = noon_deg * ((hour - 12.0) / 6.5 * std::f64::consts::FRAC_PI_2).cos();
                let zenith = Angle::from_deg(90.0 - up_deg);
                let sun = SunPosition {
                    apparent_zenith: zenith,
                    zenith,
                    azimuth: Angle::from_deg(15.0 * hour),
                };
                let left = if (n / 9) % 3 == 0 { 0.5 } else { 1.0 };
                map.add(
                    day,
                    ShadeSample {
                        start: Time::from_unix_ms(d),
                        cell: SkyCell::of(&sun).expect("sun is up"),
                        beam_share: 0.8,
                        current_ratio: left,
                        voltage_ratio: left,
                        sigma: 0.02,
                        expected_wh: 100.0,
                    },
                );
            }
        }
        // As the engine's state is stored, but for what a format of variable length saves.
        let of_cell = |c: &Cell| 2 + 3 + 1 + 1 + 1 + 2 * c.days.len();
        let bytes: usize = map.cells.values().map(of_cell).sum();
        assert!(map.cells.len() > 400, "{}", map.cells.len());
        assert!(
            12 * bytes < 200 * 1024,
            "{} cells, {bytes}",
            map.cells.len()
        );
    }
}
