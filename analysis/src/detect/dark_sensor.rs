//! An irradiance sensor that shows next to nothing in daylight, while inputs in its light carry much
//! more than that gives: an array cannot make light.
//!
//! Model:   told after half an hour of slots in a row in which the plant contradicts the sensor; ends
//!          with the first of half an hour of slots in which it shows light and is not contradicted.
//!          Slots in which neither holds say nothing.
//! Source:  own; half an hour is engineering judgement.
//! Check:   unit test below; tests/acceptance/engine/sensors.rs.

use super::Edge;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

const AFTER: Span = Span::from_min(30);

/// What a slot says about a sensor.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shows {
    /// Next to nothing, while the plant shows light.
    Nothing,
    /// Light that nobody contradicts.
    Light,
}

/// Watches one sensor.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct DarkSensorWatch {
    /// Since when it has been showing the other thing than what stands, and for how long.
    other: Option<(Time, Span)>,
    is_standing: bool,
}

impl DarkSensorWatch {
    /// Nothing seen yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes a slot in which it shows something.
    pub fn slot(&mut self, start: Time, slot: Span, shows: Shows) -> Option<Edge<()>> {
        if (shows == Shows::Nothing) == self.is_standing {
            self.other = None;
            return None;
        }
        let (since, light) = self.other.unwrap_or((start, Span::ZERO));
        let light = light + slot;
        self.other = Some((since, light));
        if light < AFTER {
            return None;
        }
        self.other = None;
        self.is_standing = !self.is_standing;
        Some(if self.is_standing {
            Edge::Found {
                began: since,
                found: start + slot,
                seen: (),
            }
        } else {
            Edge::Ended { at: since }
        })
    }

    /// Whether it is known to show nothing.
    pub fn is_dark(&self) -> bool {
        self.is_standing
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn half_an_hour_of_nothing_is_told_and_half_an_hour_of_light_ends_it() {
        let mut watch = DarkSensorWatch::new();
        let slot = Span::from_min(5);
        let told: Vec<_> = (0..40)
            .filter_map(|n| {
                let dark = n == 3 || (10..25).contains(&n);
                let shows = if dark { Shows::Nothing } else { Shows::Light };
                watch.slot(Time::from_unix_ms(n * 300_000), slot, shows)
            })
            .collect();
        let at = |n: i64| Time::from_unix_ms(n * 300_000);
        let [Edge::Found { began, found, .. }, Edge::Ended { at: ended }] = told[..] else {
            panic!("{told:?}");
        };
        assert_eq!((began, found, ended), (at(10), at(16), at(25)));
    }
}
