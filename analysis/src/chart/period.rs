//! The shared time axis: which time lies at which pixel, and where its labels stand.

use super::calendar::{Local, month_start_ms};
use super::style::TIME_LABEL_ROOM;
use crate::detect::Slot;
use crate::reading::{Span, Time};

/// 1970-01-01.
pub const FIRST_MS: i64 = 0;
/// 2999-12-31.
pub const LAST_MS: i64 = 32_503_593_600_000;

/// The period of the picture over the pixels of the plots.
pub struct TimeAxis {
    /// Where the period begins.
    pub from: Time,
    /// Where it ends.
    pub to: Time,
    /// Left edge of the plots.
    pub left: f64,
    /// Right edge of the plots.
    pub right: f64,
    /// In order of time.
    pub ticks: Vec<Tick>,
}

/// A label on the time axis.
#[derive(Debug, Clone, PartialEq)]
pub struct Tick {
    /// Pixel.
    pub x: f64,
    /// Local time.
    pub label: String,
    /// Whether a larger unit begins there.
    pub strong: bool,
}

impl TimeAxis {
    /// From the first slot to the end of the last one. The caller has checked that there is one.
    pub fn new(
        slots: &[Slot],
        left: f64,
        right: f64,
        utc_offset: &dyn Fn(Time) -> Span,
    ) -> Option<Self> {
        let (first, last) = (slots.first()?, slots.last()?);
        let period = (first.start, last.start + last.span);
        Some(Self::over(period, left, right, utc_offset))
    }

    /// Over a period that the caller has checked to have a length.
    pub fn over(
        (from, to): (Time, Time),
        left: f64,
        right: f64,
        utc_offset: &dyn Fn(Time) -> Span,
    ) -> Self {
        let mut axis = Self {
            from,
            to,
            left,
            right,
            ticks: Vec::new(),
        };
        axis.ticks = ticks(&axis, utc_offset);
        axis
    }

    /// The pixel of a time; outside the period it lies outside the plots.
    pub fn x(&self, time: Time) -> f64 {
        let share = (time - self.from).ms() as f64 / self.period().ms() as f64;
        self.left + share * (self.right - self.left)
    }

    /// The pixel of a time, or the edge of the plots where that is nearer.
    pub fn x_inside(&self, time: Time) -> f64 {
        self.x(time.clamp(self.from, self.to))
    }

    /// Pixels that a span takes.
    pub fn px(&self, span: Span) -> f64 {
        span.ms() as f64 / self.period().ms() as f64 * (self.right - self.left)
    }

    fn period(&self) -> Span {
        self.to - self.from
    }
}

/// Distance of ticks on the local clock.
#[derive(Debug, Clone, Copy)]
enum Step {
    Minutes(i64),
    Days(i64),
    Months(i64),
}

const STEPS: &[Step] = &[
    Step::Minutes(1),
    Step::Minutes(5),
    Step::Minutes(15),
    Step::Minutes(30),
    Step::Minutes(60),
    Step::Minutes(120),
    Step::Minutes(180),
    Step::Minutes(360),
    Step::Minutes(720),
    Step::Days(1),
    Step::Days(2),
    Step::Days(7),
    Step::Days(14),
    Step::Months(1),
    Step::Months(3),
    Step::Months(12),
    Step::Months(60),
    Step::Months(120),
    Step::Months(600),
    Step::Months(2400),
];

const MINUTE_MS: i64 = 60_000;
const DAY_MS: i64 = 86_400_000;
/// 1970-01-05, a Monday: ticks a week apart stand on Mondays.
const MONDAY_MS: i64 = 4 * DAY_MS;

fn ticks(axis: &TimeAxis, utc_offset: &dyn Fn(Time) -> Span) -> Vec<Tick> {
    let fits = |step: &&Step| axis.px(step.shortest()) >= TIME_LABEL_ROOM;
    let step = *STEPS.iter().find(fits).unwrap_or(&Step::Months(2400));
    let (from, to) = (
        Local::at(axis.from, utc_offset),
        Local::at(axis.to, utc_offset),
    );
    step.between(from, to)
        .into_iter()
        .filter_map(|local_ms| {
            let time = utc_of(local_ms, utc_offset)?;
            let local = Local::from_ms(local_ms);
            let inside = axis.from <= time && time <= axis.to;
            inside.then(|| Tick {
                x: axis.x(time),
                label: step.label(local),
                strong: step.is_strong(local),
            })
        })
        .collect()
}

/// The time at which the local clock shows this; `None` in an hour that the clock leaves out.
fn utc_of(local_ms: i64, utc_offset: &dyn Fn(Time) -> Span) -> Option<Time> {
    let mut time = Time::from_unix_ms(local_ms);
    // The offset itself depends on the answer; a second round settles it beside a change.
    for _ in 0..2 {
        time = Time::from_unix_ms(local_ms - utc_offset(time).ms());
    }
    (time + utc_offset(time))
        .eq(&Time::from_unix_ms(local_ms))
        .then_some(time)
}

impl Step {
    fn shortest(self) -> Span {
        match self {
            Step::Minutes(n) => Span::from_min(n),
            Step::Days(n) => Span::from_h(24) * n,
            Step::Months(n) => Span::from_h(24 * 28) * n,
        }
    }

    /// Local milliseconds of all ticks, with one more at either end.
    fn between(self, from: Local, to: Local) -> Vec<i64> {
        let even = |origin: i64, step_ms: i64| {
            let index = |ms: i64| (ms - origin).div_euclid(step_ms);
            (index(from.ms)..=index(to.ms) + 1)
                .map(|i| origin + i * step_ms)
                .collect()
        };
        match self {
            Step::Minutes(n) => even(0, n * MINUTE_MS),
            Step::Days(n) => even(MONDAY_MS, n * DAY_MS),
            Step::Months(n) => {
                let index = |local: Local| (local.year * 12 + local.month - 1).div_euclid(n);
                (index(from)..=index(to) + 1)
                    .map(|i| month_start_ms(i * n))
                    .collect()
            }
        }
    }

    fn is_strong(self, local: Local) -> bool {
        match self {
            Step::Minutes(_) => local.is_midnight(),
            Step::Days(_) => local.day <= 7,
            Step::Months(_) => local.month == 1,
        }
    }

    fn label(self, local: Local) -> String {
        match self {
            Step::Minutes(_) if local.is_midnight() => local.weekday_day_month(),
            Step::Minutes(_) => local.clock(),
            Step::Days(_) => local.day_month(),
            Step::Months(n) if n >= 12 => local.year.to_string(),
            Step::Months(_) if local.month == 1 => format!("Jan {}", local.year),
            Step::Months(_) => local.month_name().to_owned(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 26 October 2025, 01:00 UTC: one hour back, as in central Europe.
    const CHANGE_MS: i64 = 1_761_440_400_000;

    fn europe(time: Time) -> Span {
        Span::from_h(if time.unix_ms() < CHANGE_MS { 2 } else { 1 })
    }

    fn axis(from_ms: i64, hours: i64) -> TimeAxis {
        let slot = Slot {
            start: Time::from_unix_ms(from_ms),
            span: Span::from_h(hours),
            air: None,
            wind: None,
            planes: Vec::new(),
            inverters: Vec::new(),
        };
        TimeAxis::new(&[slot], 0.0, 1000.0, &europe).expect("there is a slot")
    }

    fn labels(axis: &TimeAxis) -> Vec<&str> {
        axis.ticks.iter().map(|t| t.label.as_str()).collect()
    }

    #[test]
    fn the_labels_stay_on_the_local_clock_through_a_change() {
        // From local midnight to local midnight: 25 hours.
        let day = axis(CHANGE_MS - 3 * 3_600_000, 25);
        let shown = labels(&day);
        assert_eq!(shown[..3], ["Sun 26 Oct", "02:00", "04:00"]);
        assert_eq!(shown.last(), Some(&"Mon 27 Oct"));
        // 02:00 comes twice; the label stands at the second.
        let hours = |i: usize| ((day.ticks[i + 1].x - day.ticks[i].x) / 40.0).round();
        assert_eq!([hours(0), hours(1)], [3.0, 2.0]);
    }

    #[test]
    fn every_length_of_period_has_labels_that_do_not_touch() {
        for hours in [
            1,
            5,
            24,
            96,
            24 * 31,
            24 * 100,
            24 * 366,
            24 * 365 * 12,
            24 * 365 * 300,
        ] {
            let axis = axis(CHANGE_MS, hours);
            assert!(axis.ticks.len() >= 2, "{hours} h: {:?}", labels(&axis));
            for pair in axis.ticks.windows(2) {
                assert!(
                    pair[1].x - pair[0].x >= TIME_LABEL_ROOM,
                    "{hours} h: {pair:?}"
                );
            }
        }
    }
}
