//! Strings of one input beside each other, by their own currents alone.
//!
//! Model:   x_k = I_k / I_r,k;  light of string k in a slot: L_k = median of x_j, j another string of
//!          the input that moves;  share s_k = x_k / L_k.
//!          Neither light nor voltage has to be measured: the siblings work at the same voltage and show
//!          the light. Over the latest half hour of slots with L_k above `MIN_LIGHT`:
//!          - nothing: all s_k below `NOTHING`.
//!                     Shade leaves the diffuse light, a tenth and more of a clear day's;
//!          - part:    median s_k below `PART`, within `STEADY` of it in every slot, while L_k changed by
//!                     `LIGHT_CHANGED` and more. What is lost in parallel stays in proportion; shade
//!                     takes the beam alone and changes with it, so it is not called that;
//!          - frozen:  every poll the same number, not zero, while L_k moved by more than `MOVED` of
//!                     itself and `MOVED_RATED` of the rated current, and s_k with it.
//!          A cloud's edge reaches siblings at other times: its trace in a mean of five minutes has been
//!          a third of the current on a field of 700 m, for a slot or two and either way; so a verdict
//!          wants every slot of the window and a share far from any of these.
//! Symbols: I_k [A] mean over the slot, I_r,k [A] rated current of its modules; the rest dimensionless.
//! Range:   two strings and more on one plane; `Part` and `Frozen` need two siblings.
//! Source:  own; the shares are engineering judgement.
//! Check:   unit tests below; tests/acceptance/reality on 221 recorded combiner boxes.

use super::window::slots_covering;
use crate::reading::{SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Siblings' current over their rated current from which a slot counts [-].
const MIN_LIGHT: f64 = 0.1;
/// Share under which a string carries nothing: offset of its sensor, and no more [-].
const NOTHING: f64 = 0.05;
/// Share from which a string that carried nothing carries something again [-].
const SOMETHING: f64 = 0.15;
/// Share under which a string carries a part only [-].
const PART: f64 = 0.6;
/// Share from which it carries what its siblings do [-].
const WHOLE: f64 = 0.8;
/// How far the shares of a loss in parallel may lie from their median, over it [-].
const STEADY: f64 = 0.07;
/// Brightest over darkest slot that shows whether a loss stays in proportion [-].
const LIGHT_CHANGED: f64 = 1.4;
/// Brightest over darkest slot, and their difference, while a value stood still [-].
const MOVED: f64 = 1.1;
const MOVED_RATED: f64 = 0.05;
/// Light and slots that a verdict needs.
const LIGHT: Span = Span::from_min(30);
const LEAST_SLOTS: usize = 4;
/// Slots kept: an hour of five-minute ones.
const KEPT: usize = 12;
/// Siblings without which one cannot say which of two is wrong.
const LEAST_SIBLINGS: usize = 2;

/// What a string's channel showed in one slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct StringMean {
    /// Mean current [A].
    pub mean_a: f64,
    /// Smallest and largest of the slot's polls [A].
    pub ends_a: (f64, f64),
    /// Rated current of its modules [A].
    pub rated_a: f64,
}

/// A string of the input beside its siblings, in one slot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct StringSlot {
    start: Time,
    string: StringMean,
    /// Siblings' current over rated current [-].
    light: f64,
    siblings: usize,
    missing_wh: f64,
}

impl StringSlot {
    fn share(&self) -> f64 {
        self.string.mean_a / self.string.rated_a / self.light
    }
}

/// What a string's currents mean.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum StringFault {
    /// No current beside siblings that carry some.
    Nothing,
    /// The same part of the siblings' current in any light.
    Part,
    /// The same number while the siblings move.
    Frozen,
}

/// A window of a string's slots, in numbers.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StringWindow {
    /// Start of the first slot that shows what the window means.
    pub began: Time,
    /// How many slots were looked at.
    pub slots: usize,
    /// Median share [-].
    pub share: f64,
    /// Least share [-].
    pub least: f64,
    /// Largest share [-].
    pub largest: f64,
    /// Current in the last slot [A].
    pub last_a: f64,
    /// Least and largest light: siblings' current over rated [-].
    pub light: (f64, f64),
    /// Siblings in the last slot.
    pub siblings: usize,
    /// What it missed beside its siblings, DC [Wh]; zero where no voltage is known.
    pub missing_wh: f64,
    is_still: bool,
}

impl StringWindow {
    fn of(slots: &[StringSlot]) -> Option<Self> {
        let (first, last) = (slots.first()?, slots.last()?);
        let shares = slots.iter().map(StringSlot::share);
        let light =
            |start: f64, pick: fn(f64, f64) -> f64| slots.iter().map(|s| s.light).fold(start, pick);
        let still_at = first.string.ends_a.0;
        Some(Self {
            began: first.start,
            slots: slots.len(),
            share: median(shares.clone())?,
            least: shares.clone().fold(f64::INFINITY, f64::min),
            largest: shares.fold(f64::NEG_INFINITY, f64::max),
            last_a: last.string.mean_a,
            light: (light(f64::INFINITY, f64::min), light(0.0, f64::max)),
            siblings: slots.iter().map(|s| s.siblings).min()?,
            missing_wh: slots.iter().map(|s| s.missing_wh).sum(),
            is_still: slots
                .iter()
                .all(|s| s.string.ends_a == (still_at, still_at)),
        })
    }

    fn moved(&self) -> bool {
        let (least, largest) = self.light;
        largest >= MOVED * least && largest - least >= MOVED_RATED
    }

    /// What is wrong with the string, if anything is.
    fn says(&self) -> Option<StringFault> {
        let (dark, bright) = self.light;
        let steady = self.least >= (1.0 - STEADY) * self.share
            && self.largest <= (1.0 + STEADY) * self.share;
        let can_part = self.siblings >= LEAST_SIBLINGS;
        if self.largest < NOTHING {
            Some(StringFault::Nothing)
        } else if can_part && self.is_still && self.moved() {
            Some(StringFault::Frozen)
        } else if can_part && self.share < PART && steady && bright >= LIGHT_CHANGED * dark {
            Some(StringFault::Part)
        } else {
            None
        }
    }

    /// Whether these slots contradict a fault that stands.
    pub fn clears(&self, fault: StringFault) -> bool {
        match fault {
            StringFault::Nothing => self.least > SOMETHING,
            StringFault::Part => self.least > WHOLE,
            StringFault::Frozen => !self.is_still,
        }
    }
}

/// The latest slots of one string. Starts afresh each day.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct StringWatch {
    slots: VecDeque<StringSlot>,
    first_share: Option<f64>,
}

/// The strings of one input. Starts afresh each day.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StringsWatch {
    day: Option<SolarDay>,
    strings: Vec<StringWatch>,
}

/// What is known of the slot beside the strings' own currents.
#[derive(Debug, Clone, Copy)]
pub struct StringsFacts {
    /// Start of the slot.
    pub start: Time,
    /// Its length.
    pub slot: Span,
    /// The day by the sun.
    pub day: SolarDay,
    /// Voltage of the input [V], measured or else expected.
    pub volts: Option<f64>,
}

impl StringsWatch {
    /// Takes a slot in which the input works in the light: one entry for each string of one plane that
    /// is compared, `None` where its channel is silent.
    pub fn push(&mut self, facts: &StringsFacts, now: &[Option<StringMean>]) {
        if self.day != Some(facts.day) || self.strings.len() != now.len() {
            *self = Self {
                day: Some(facts.day),
                strings: vec![StringWatch::default(); now.len()],
            };
        }
        let still: Vec<bool> = (0..now.len()).map(|k| self.is_still(k, now[k])).collect();
        for (k, string) in now.iter().enumerate() {
            let Some(string) = *string else { continue };
            let beside = (0..now.len()).filter(|j| *j != k && !still[*j]);
            let loads: Vec<f64> = beside
                .filter_map(|j| now[j].map(|s| s.mean_a / s.rated_a))
                .collect();
            let siblings = loads.len();
            let Some(light) = median(loads).filter(|light| *light >= MIN_LIGHT) else {
                continue;
            };
            let missing_a = (light * string.rated_a - string.mean_a).max(0.0);
            let watch = &mut self.strings[k];
            let seen = StringSlot {
                start: facts.start,
                string,
                light,
                siblings,
                missing_wh: missing_a * facts.volts.unwrap_or(0.0) * facts.slot.hours(),
            };
            watch.first_share.get_or_insert(seen.share());
            if watch.slots.len() == KEPT {
                watch.slots.pop_front();
            }
            watch.slots.push_back(seen);
        }
    }

    /// Whether a string has shown one number, not zero, for as long as a verdict takes: such a one is no
    /// witness of the light.
    fn is_still(&self, k: usize, now: Option<StringMean>) -> bool {
        let Some(now) = now else { return false };
        let one = now.ends_a.0;
        let same = |string: &StringMean| string.ends_a == (one, one);
        let before = self.strings[k].slots.iter().rev().take(LEAST_SLOTS - 1);
        one != 0.0
            && same(&now)
            && before.clone().count() == LEAST_SLOTS - 1
            && before.into_iter().all(|s| same(&s.string))
    }

    /// The window of a string that ends with the slot at `start`, and what it says; `None` while there
    /// is not enough light in it, or the string had no part in that slot.
    pub fn window(
        &self,
        k: usize,
        start: Time,
        slot: Span,
    ) -> Option<(StringWindow, Option<StringFault>)> {
        let slots: Vec<StringSlot> = self.strings.get(k)?.slots.iter().copied().collect();
        if slots.last()?.start != start {
            return None;
        }
        let needed = slots_covering(LIGHT, slot, LEAST_SLOTS);
        // The longest run of latest slots that says something: a change of light may need an hour.
        let skipped = slots.len().checked_sub(needed)?;
        let latest = StringWindow::of(&slots[skipped..])?;
        let longer = (0..=skipped).filter_map(|from| {
            let window = StringWindow::of(&slots[from..])?;
            Some((window, Some(window.says()?)))
        });
        Some(longer.into_iter().next().unwrap_or((latest, None)))
    }

    /// Whether each of so many strings has moved of itself in a window that ends with the slot at
    /// `start`: then they tell by themselves which of them is open.
    pub fn speak(&self, strings: usize, start: Time, slot: Span) -> bool {
        let moves = |k| {
            let window = self.window(k, start, slot);
            window.is_some_and(|(_, says)| says != Some(StringFault::Frozen))
        };
        strings > 0 && (0..strings).all(moves)
    }

    /// The first share of the day: whether a loss was there when the light came.
    pub fn first_share_of_day(&self, k: usize) -> Option<f64> {
        self.strings.get(k)?.first_share
    }

    /// What a string missed in the slot at `start`, DC [Wh].
    pub fn missing_wh(&self, k: usize, start: Time) -> f64 {
        let last = self.strings.get(k).and_then(|watch| watch.slots.back());
        last.filter(|s| s.start == start)
            .map_or(0.0, |s| s.missing_wh)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOT: Span = Span::from_min(5);

    fn steady(amps: f64) -> Option<StringMean> {
        Some(StringMean {
            mean_a: amps,
            ends_a: (0.99 * amps, 1.01 * amps),
            rated_a: 10.0,
        })
    }

    fn fixed(amps: f64) -> Option<StringMean> {
        Some(StringMean {
            ends_a: (amps, amps),
            ..steady(amps)?
        })
    }

    /// What slots of these strings say in the end, string by string.
    fn say(slots: &[Vec<Option<StringMean>>]) -> Vec<Option<StringFault>> {
        let mut watch = StringsWatch::default();
        let mut start = Time::from_unix_ms(0);
        for now in slots {
            start = start + SLOT;
            let facts = StringsFacts {
                start,
                slot: SLOT,
                day: start.solar_day(0.0),
                volts: Some(600.0),
            };
            watch.push(&facts, now);
        }
        (0..slots[0].len())
            .map(|k| watch.window(k, start, SLOT).and_then(|(_, says)| says))
            .collect()
    }

    #[test]
    fn a_string_without_current_is_named_beside_one_sibling_and_not_before_half_an_hour() {
        let now = vec![steady(6.0), steady(0.02)];
        assert_eq!(say(&vec![now.clone(); 5]), [None, None]);
        assert_eq!(say(&vec![now; 6]), [None, Some(StringFault::Nothing)]);
    }

    #[test]
    fn a_sensor_offset_below_zero_is_no_current_either() {
        let now = vec![steady(6.0), steady(-0.05), steady(6.1)];
        assert_eq!(say(&vec![now; 6])[1], Some(StringFault::Nothing));
    }

    #[test]
    fn where_all_are_dark_nothing_is_said() {
        let now = vec![steady(0.5), steady(0.0), steady(0.5)];
        assert_eq!(say(&vec![now; 12]), [None; 3]);
    }

    #[test]
    fn three_of_four_without_current_are_not_taken_for_the_light() {
        // Their median is nothing: it is not decided, and above all the good one is not accused.
        let now = vec![steady(6.0), steady(0.0), steady(0.0), steady(0.0)];
        assert_eq!(say(&vec![now; 12])[0], None);
    }

    fn in_light(part: impl Fn(f64) -> f64) -> Vec<Option<StringFault>> {
        let slot = |n: i32| {
            let light = 4.0 + 0.4 * f64::from(n);
            vec![
                steady(light),
                steady(light),
                steady(1.01 * light),
                steady(part(light)),
            ]
        };
        say(&(0..10).map(slot).collect::<Vec<_>>())
    }

    #[test]
    fn a_third_in_any_light_is_a_loss_in_parallel_and_a_shaded_beam_is_not() {
        assert_eq!(
            in_light(|light| light / 3.0),
            [None, None, None, Some(StringFault::Part)]
        );
        // Diffuse light stays as it is while the beam grows.
        assert_eq!(in_light(|_| 1.3), [None; 4]);
        assert_eq!(in_light(|light| 0.9 * light), [None; 4]);
    }

    #[test]
    fn one_number_while_the_others_move_is_frozen_and_no_witness() {
        let slot = |n: i32| {
            let light = 8.0 - 0.7 * f64::from(n);
            vec![fixed(8.0), steady(light), steady(light), steady(light)]
        };
        let slots: Vec<_> = (0..9).map(slot).collect();
        assert_eq!(say(&slots), [Some(StringFault::Frozen), None, None, None]);
        // A frozen sibling in the dark does not make the other of two a dead one.
        let two = |n: i32| vec![fixed(8.0), steady(if n < 6 { 8.0 } else { 0.1 })];
        let slots: Vec<_> = (0..14).map(two).collect();
        assert_eq!(say(&slots), [None, None]);
    }

    #[test]
    fn a_number_that_stands_in_steady_light_is_not_frozen() {
        assert_eq!(
            say(&vec![vec![fixed(6.0), steady(6.1), steady(6.0)]; 12]),
            [None; 3]
        );
    }
}
