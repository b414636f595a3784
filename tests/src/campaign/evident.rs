//! From when a fault is as large as must be found, where sun and weather decide: a limit that holds
//! nothing back and shade where the sun is not are no faults yet.
//! Sizes are those of the design: more than 1 % of a day's energy; 10 % for half an hour of a day.
//! Never in here: when a fault begins (`fault`).

use super::fault::Fault;
use super::inject::Act;
use super::plant_draw::DrawnPlant;
use super::run::has_test_light;
use super::twin::{Now, Twin};
use analysis::reading::{Span, Time};

const LEAST_HELD_BACK_RATIO: f64 = 0.01;
const LEAST_SHADE_RATIO: f64 = 0.1;
const LEAST_SHADED: Span = Span::from_min(30);
/// What has shown nothing for so long is no fault of this plant [d].
const MOST_DAYS: i64 = 60;

/// What it must take from a day.
#[derive(Debug, Clone, Copy)]
enum Takes {
    /// Energy of the inverter.
    Energy,
    /// Power of one input, for a while.
    Power { input: usize },
}

/// One day of a plant with a fault beside the same without.
#[derive(Debug, Clone, Copy)]
struct Day {
    takes: Takes,
    /// The first poll that shows it.
    first: Option<Time>,
    missed_wh: f64,
    healthy_wh: f64,
    shaded: Span,
}

/// The fault, evident from the day on which it does what must be found; `None` where it never does.
pub(super) fn once_evident(on: &DrawnPlant, fault: Fault, every: Span) -> Option<Fault> {
    let takes = match (&fault.act, fault.input) {
        (Act::Limit(..), _) => Takes::Energy,
        (Act::Shade(_), Some(input)) => Takes::Power { input },
        _ => return Some(fault),
    };
    let mut twin = Twin::new(on, Some(fault.clone()));
    let polls_a_day = (24.0 / every.hours()).round() as i64;
    let days_before = ((fault.began - on.start).hours() / 24.0).floor() as i64;
    for n in 0..days_before * polls_a_day {
        twin.poll(on.start + every * n);
    }
    let mut healthy = twin.without_fault();
    let mut days = (days_before..days_before + MOST_DAYS).map(|d| {
        let mut day = Day::new(takes);
        for n in d * polls_a_day..(d + 1) * polls_a_day {
            let at = on.start + every * n;
            day.add(on, &twin.poll(at), &healthy.poll(at), every);
        }
        day
    });
    let evident = days.find_map(|day| day.evident())?;
    Some(Fault { evident, ..fault })
}

impl Day {
    fn new(takes: Takes) -> Self {
        Self {
            takes,
            first: None,
            missed_wh: 0.0,
            healthy_wh: 0.0,
            shaded: Span::ZERO,
        }
    }

    fn add(&mut self, on: &DrawnPlant, now: &Now, healthy: &Now, every: Span) {
        let missed_w = healthy.work.ac_w - now.work.ac_w;
        self.missed_wh += missed_w * every.hours();
        self.healthy_wh += healthy.work.ac_w * every.hours();
        let shows = match self.takes {
            Takes::Energy => missed_w > LEAST_HELD_BACK_RATIO * healthy.work.ac_w,
            Takes::Power { input } => {
                let watts = |now: &Now| now.work.points[input].0 * now.work.points[input].1;
                has_test_light(now, input, on)
                    && watts(now) <= (1.0 - LEAST_SHADE_RATIO) * watts(healthy)
            }
        };
        if shows {
            self.first.get_or_insert(now.at);
            self.shaded = self.shaded + every;
        }
    }

    fn evident(&self) -> Option<Time> {
        let is_enough = match self.takes {
            Takes::Energy => self.missed_wh > LEAST_HELD_BACK_RATIO * self.healthy_wh,
            Takes::Power { .. } => self.shaded >= LEAST_SHADED,
        };
        self.first.filter(|_| is_enough)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn day(takes: Takes) -> Day {
        Day {
            first: Some(Time::from_unix_ms(0)),
            healthy_wh: 1000.0,
            ..Day::new(takes)
        }
    }

    #[test]
    fn a_limit_counts_by_the_energy_of_the_day_and_shade_by_its_time() {
        let held = |missed_wh| Day {
            missed_wh,
            ..day(Takes::Energy)
        };
        assert_eq!(held(9.0).evident(), None);
        assert_eq!(held(11.0).evident(), Some(Time::from_unix_ms(0)));
        let shaded = |min| Day {
            shaded: Span::from_min(min),
            missed_wh: 500.0,
            ..day(Takes::Power { input: 0 })
        };
        assert_eq!(shaded(25).evident(), None);
        assert_eq!(shaded(30).evident(), Some(Time::from_unix_ms(0)));
    }
}
