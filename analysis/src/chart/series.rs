//! From slots to the lines of one panel: which values, where they are interrupted, and how they are
//! thinned for a long period.
//!
//! Slots that do not follow each other are never joined. Where days become narrow
//! ([`NARROW_DAY_PX`]) a line goes from day to day, through the tested slot with the most expected
//! current of each, and the least and the greatest measured value of each day span an area.

use super::period::TimeAxis;
use crate::detect::{Gate, Slot};
use crate::reading::{Span, Time};
use std::cmp::Ordering;

/// A day narrower than this is one point of the line [pixel].
pub const NARROW_DAY_PX: f64 = 12.0;

const DAY: Span = Span::from_h(24);

/// Whose values a panel shows; the numbers are indices into the plant.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Source {
    /// Irradiance in a plane [W/m2].
    Irradiance(usize),
    /// AC power of an inverter [kW].
    Ac(usize),
    /// Voltage of an input of an inverter [V].
    Voltage(usize, usize),
    /// Current of an input of an inverter [A].
    Current(usize, usize),
}

/// What one panel shows of one slot.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Sample {
    /// Measured, or for a plane used.
    pub measured: Option<f64>,
    /// Expected.
    pub expected: Option<f64>,
    /// One standard deviation of the expected.
    pub sigma: Option<f64>,
    /// Whether the slot is tested.
    pub gate: Option<Gate>,
    /// How much the slot says about its day: expected current or power.
    pub weight: f64,
}

impl Sample {
    /// Expected minus and plus two standard deviations.
    pub fn band(&self) -> Option<Range> {
        let (expected, two_sigma) = (self.expected?, 2.0 * self.sigma?.abs());
        Some((expected - two_sigma, expected + two_sigma))
    }
}

impl Source {
    /// What a panel of this source shows of a slot. The caller has checked the slot's shape.
    pub fn sample(self, slot: &Slot) -> Sample {
        const W_PER_KW: f64 = 1000.0;
        match self {
            Source::Irradiance(plane) => {
                let poa = slot.planes[plane].poa.map(|(poa, _)| poa.w_m2());
                Sample {
                    measured: poa,
                    weight: poa.unwrap_or(0.0),
                    ..Sample::default()
                }
            }
            Source::Ac(inverter) => {
                let inverter = &slot.inverters[inverter];
                let expected = inverter.expected_ac_power.map(|p| p.w() / W_PER_KW);
                let measured = inverter.ac_power.map(|p| p.w() / W_PER_KW);
                Sample {
                    measured,
                    expected,
                    weight: expected.or(measured).unwrap_or(0.0),
                    ..Sample::default()
                }
            }
            Source::Voltage(inverter, input) | Source::Current(inverter, input) => {
                self.input_sample(slot, inverter, input)
            }
        }
    }

    fn input_sample(self, slot: &Slot, inverter: usize, input: usize) -> Sample {
        let slot = &slot.inverters[inverter].inputs[input];
        let expected = slot.expected;
        let current = expected.map(|e| e.current).or(slot.current);
        let sample = Sample {
            gate: Some(slot.gate),
            weight: current.map_or(0.0, |i| i.a()),
            ..Sample::default()
        };
        match self {
            Source::Voltage(..) => Sample {
                measured: slot.voltage.map(|v| v.v()),
                expected: expected.map(|e| e.voltage.v()),
                sigma: expected.map(|e| e.sigma_voltage.v()),
                ..sample
            },
            _ => Sample {
                measured: slot.current.map(|i| i.a()),
                expected: expected.map(|e| e.current.a()),
                sigma: expected.map(|e| e.sigma_current.a()),
                ..sample
            },
        }
    }
}

/// Least and greatest value.
type Range = (f64, f64);

/// A value that holds from one time to another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece<T> {
    /// Where it begins.
    pub from: Time,
    /// Where it ends.
    pub to: Time,
    /// The value.
    pub value: T,
}

impl<T> Piece<T> {
    /// Another value over the same time.
    pub fn with<U>(&self, value: U) -> Piece<U> {
        let Self { from, to, .. } = *self;
        Piece { from, to, value }
    }
}

/// Pieces that follow each other without a gap.
pub type Run<T> = Vec<Piece<T>>;

/// Everything that one panel draws.
#[derive(Debug, Default, PartialEq)]
pub struct Traces {
    /// Measured values.
    pub measured: Vec<Run<f64>>,
    /// Expected values.
    pub expected: Vec<Run<f64>>,
    /// Lower and upper edge of the expected band.
    pub band: Vec<Run<Range>>,
    /// Least and greatest measured value of each day, where a day is one point.
    pub range: Vec<Run<Range>>,
}

/// Whether the period is so long that a day is one point.
pub fn by_day(axis: &TimeAxis) -> bool {
    axis.px(DAY) < NARROW_DAY_PX
}

/// The lines of a source, slot by slot or day by day.
pub fn traces(
    source: Source,
    slots: &[Slot],
    axis: &TimeAxis,
    utc_offset: &dyn Fn(Time) -> Span,
) -> Traces {
    if by_day(axis) {
        let days = days(source, slots, utc_offset);
        let range = runs(days.iter().map(|(day, range)| day.with(*range)));
        let shown: Vec<_> = days.into_iter().map(|(day, _)| day).collect();
        Traces {
            range,
            ..lines(&shown)
        }
    } else {
        let samples: Vec<_> = slots.iter().map(|slot| slot_piece(source, slot)).collect();
        lines(&samples)
    }
}

fn lines(samples: &[Piece<Sample>]) -> Traces {
    Traces {
        measured: runs(samples.iter().map(|s| s.with(s.value.measured))),
        expected: runs(samples.iter().map(|s| s.with(s.value.expected))),
        band: runs(samples.iter().map(|s| s.with(s.value.band()))),
        range: Vec::new(),
    }
}

fn slot_piece(source: Source, slot: &Slot) -> Piece<Sample> {
    Piece {
        from: slot.start,
        to: slot.start + slot.span,
        value: source.sample(slot),
    }
}

/// Cuts at every missing value and wherever one piece does not begin where the last one ends.
fn runs<T>(pieces: impl Iterator<Item = Piece<Option<T>>>) -> Vec<Run<T>> {
    let mut runs: Vec<Run<T>> = Vec::new();
    let mut joined_to = None;
    for Piece { from, to, value } in pieces {
        let Some(value) = value else {
            joined_to = None;
            continue;
        };
        let piece = Piece { from, to, value };
        match runs.last_mut() {
            Some(run) if joined_to == Some(from) => run.push(piece),
            _ => runs.push(vec![piece]),
        }
        joined_to = Some(to);
    }
    runs
}

type Day = (Piece<Sample>, Option<Range>);

/// For each local day that has a slot, the slot that says most, spread over the day, and the range.
fn days(source: Source, slots: &[Slot], utc_offset: &dyn Fn(Time) -> Span) -> Vec<Day> {
    // One offset for the whole period: on one side of a clock change days begin an hour off, which
    // no pixel shows, and each still begins where the last one ends.
    let offset = slots
        .first()
        .map_or(Span::ZERO, |slot| utc_offset(slot.start));
    let day_of = |slot: &Slot| (slot.start + offset).slot_start(DAY) - offset;
    slots
        .chunk_by(|a, b| day_of(a) == day_of(b))
        .filter_map(|day| {
            let best = day
                .iter()
                .map(|slot| source.sample(slot))
                .filter(|s| s.measured.is_some() || s.expected.is_some())
                .max_by(says_more)
                .unwrap_or_default();
            let from = day_of(day.first()?);
            let to = from + DAY;
            let range = range(day.iter().filter_map(|slot| source.sample(slot).measured));
            Some((
                Piece {
                    from,
                    to,
                    value: best,
                },
                range,
            ))
        })
        .collect()
}

/// Which of two samples of a day says more about it.
pub fn says_more(a: &Sample, b: &Sample) -> Ordering {
    let tested = |s: &Sample| s.gate == Some(Gate::Valid);
    let both = |s: &Sample| s.measured.is_some() && s.expected.is_some();
    tested(a)
        .cmp(&tested(b))
        .then(both(a).cmp(&both(b)))
        .then(a.weight.total_cmp(&b.weight))
}

fn range(values: impl Iterator<Item = f64>) -> Option<Range> {
    values.fold(None, |range, v| {
        let (low, high) = range.unwrap_or((v, v));
        Some((v.min(low), v.max(high)))
    })
}
