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

/// One day of a plant with a fault beside the same without.
struct Day {
    /// The first poll that shows it.
    first: Option<Time>,
    missed_wh: f64,
    healthy_wh: f64,
    shaded: Span,
}

/// The fault, evident from the day on which it does what must be found; `None` where it never does.
pub(super) fn once_evident(on: &DrawnPlant, fault: Fault, every: Span) -> Option<Fault> {
    if !matches!(fault.act, Act::Limit(..) | Act::Shade(_)) {
        return Some(fault);
    }
    let mut twin = Twin::new(on, Some(fault.clone()));
    let mut healthy: Option<Twin> = None;
    let mut today = Day::NEW;
    let polls_a_day = (24.0 / every.hours()).round() as i64;
    let before = ((fault.began - on.start).hours() / 24.0).floor() as i64;
    for n in 0..(before + MOST_DAYS) * polls_a_day {
        let at = on.start + every * n;
        if at >= fault.began && healthy.is_none() {
            healthy = Some(twin.without_fault());
        }
        let now = twin.poll(at);
        if let Some(healthy) = &mut healthy {
            today.add(&fault, on, (&now, &healthy.poll(at)), every);
        }
        if (n + 1) % polls_a_day == 0 {
            if let Some(evident) = today.evident(&fault) {
                return Some(Fault { evident, ..fault });
            }
            today = Day::NEW;
        }
    }
    None
}

impl Day {
    const NEW: Self = Self {
        first: None,
        missed_wh: 0.0,
        healthy_wh: 0.0,
        shaded: Span::ZERO,
    };

    fn add(&mut self, fault: &Fault, on: &DrawnPlant, (now, healthy): (&Now, &Now), every: Span) {
        let missed_w = healthy.work.ac_w - now.work.ac_w;
        self.missed_wh += missed_w * every.hours();
        self.healthy_wh += healthy.work.ac_w * every.hours();
        let k = fault.input.unwrap_or(0);
        let watts = |now: &Now| now.work.points[k].0 * now.work.points[k].1;
        let shows = match fault.act {
            Act::Limit(..) => missed_w > LEAST_HELD_BACK_RATIO * healthy.work.ac_w,
            _ => {
                has_test_light(now, k, on)
                    && watts(now) <= (1.0 - LEAST_SHADE_RATIO) * watts(healthy)
            }
        };
        if shows {
            self.first.get_or_insert(now.at);
            self.shaded = self.shaded + every;
        }
    }

    fn evident(&self, fault: &Fault) -> Option<Time> {
        let is_enough = match fault.act {
            Act::Limit(..) => self.missed_wh > LEAST_HELD_BACK_RATIO * self.healthy_wh,
            _ => self.shaded >= LEAST_SHADED,
        };
        self.first.filter(|_| is_enough)
    }
}
