//! Where the array tests of an input were not valid, as stretches of pixels with one reason each.

use super::period::TimeAxis;
use super::series::by_day;
use crate::detect::{Gate, Slot};
use crate::reading::{Span, Time};
use std::collections::BTreeMap;

/// A stretch of the time axis that was not tested.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stretch {
    /// Left end [pixel].
    pub left: f64,
    /// Right end [pixel].
    pub right: f64,
    /// Why. Time without a slot counts as not measured.
    pub gate: Gate,
}

/// The stretches of an input that were not tested. Several slots that share a pixel (or, where a
/// day is one point, a day) count as tested if one of them was, and else have their most frequent
/// reason, darkness last.
pub fn untested(inverter: usize, input: usize, slots: &[Slot], axis: &TimeAxis) -> Vec<Stretch> {
    let cells = Cells::new(axis);
    let mut stretches = Vec::new();
    let mut ended = axis.from;
    for group in slots.chunk_by(|a, b| cells.index(a.start) == cells.index(b.start)) {
        let Some((from, to)) = cells.bounds(group) else {
            continue;
        };
        if from > ended {
            push(&mut stretches, axis, (ended, from), Gate::NotMeasured);
        }
        let gate = most_telling(
            group
                .iter()
                .map(|s| s.inverters[inverter].inputs[input].gate),
        );
        push(&mut stretches, axis, (from, to), gate);
        ended = to;
    }
    stretches
}

/// Lengths of time that share one verdict: a pixel, or a day where that is one point.
struct Cells {
    from: Time,
    to: Time,
    ms: f64,
    days: bool,
}

impl Cells {
    fn new(axis: &TimeAxis) -> Self {
        let per_px = (axis.to - axis.from).ms() as f64 / (axis.right - axis.left);
        let days = by_day(axis);
        let ms = if days {
            Span::from_h(24).ms() as f64
        } else {
            per_px
        };
        Self {
            from: axis.from,
            to: axis.to,
            ms,
            days,
        }
    }

    fn index(&self, time: Time) -> i64 {
        ((time - self.from).ms() as f64 / self.ms).floor() as i64
    }

    /// Where the verdict of these slots of one cell holds: for a day all of it, nights included.
    fn bounds(&self, group: &[Slot]) -> Option<(Time, Time)> {
        let (first, last) = (group.first()?, group.last()?);
        if !self.days {
            return Some((first.start, last.start + last.span));
        }
        let begin = |index: i64| self.from + Span::from_ms((index as f64 * self.ms) as i64);
        let index = self.index(first.start);
        Some((begin(index), begin(index + 1).min(self.to)))
    }
}

fn push(stretches: &mut Vec<Stretch>, axis: &TimeAxis, (from, to): (Time, Time), gate: Gate) {
    let (left, right) = (axis.x(from), axis.x(to));
    /// A gap that is thinner than this cannot be seen, so it does not cut a stretch [pixel].
    const UNSEEN_PX: f64 = 0.1;
    match stretches.last_mut() {
        _ if gate == Gate::Valid => {}
        Some(last) if last.gate == gate && left - last.right < UNSEEN_PX => last.right = right,
        _ => stretches.push(Stretch { left, right, gate }),
    }
}

/// The verdict of several slots: tested if one of them was, else the most frequent reason, darkness
/// last.
pub fn most_telling(gates: impl Iterator<Item = Gate>) -> Gate {
    let mut counts: BTreeMap<Gate, usize> = BTreeMap::new();
    for gate in gates {
        if gate == Gate::Valid {
            return Gate::Valid;
        }
        *counts.entry(gate).or_default() += 1;
    }
    counts
        .into_iter()
        .max_by_key(|&(gate, n)| (gate != Gate::Dark, n))
        .map_or(Gate::NotMeasured, |(gate, _)| gate)
}
