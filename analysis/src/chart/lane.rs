//! Where the bars of findings lie: in the lane at the foot, and in short above their panels.
//! Never in here: drawing.

use super::lettering::Fonts;
use super::period::TimeAxis;
use super::style::{LABEL, TAG};
use super::words;
use crate::diagnose::Finding;
use crate::reading::Time;
use std::cmp::Reverse;

/// More bars in one picture than this are no summary; the least urgent are counted instead.
pub const MOST_FINDINGS: usize = 30;
/// Of rows above one panel; more findings at one time are in the lane alone.
const MOST_TAG_ROWS: usize = 3;
/// A bar is at least this long, however short the finding [pixel].
const SHORTEST_PX: f64 = 5.0;
/// Between a bar and its label, and between neighbours in a row [pixel].
const SPACE_PX: f64 = 7.0;

/// A finding with a place on the time axis.
#[derive(Debug, Clone)]
pub struct Bar<'a> {
    /// Its number in the picture, from 1 in order of time.
    pub number: usize,
    /// The finding.
    pub finding: &'a Finding,
    /// Left end [pixel].
    pub left: f64,
    /// Right end [pixel].
    pub right: f64,
    /// It began before the period.
    pub before: bool,
    /// It has no end in the period.
    pub beyond: bool,
}

/// A bar in the lane.
#[derive(Debug, Clone)]
pub struct LaneBar<'a> {
    /// The bar.
    pub bar: Bar<'a>,
    /// Row from the top.
    pub row: usize,
    /// Number, kind, subject, severity.
    pub label: String,
    /// Left end of the label [pixel].
    pub label_left: f64,
    /// Right end of the label [pixel].
    pub label_right: f64,
}

/// The findings that touch the period, in order of time, numbered; the most urgent if many.
pub fn bars<'a>(findings: &'a [Finding], axis: &TimeAxis) -> Vec<Bar<'a>> {
    let mut shown: Vec<&Finding> = findings.iter().filter(|f| touches(f, axis)).collect();
    shown.sort_by_key(|f| (Reverse(f.severity), f.began, &f.id));
    shown.truncate(MOST_FINDINGS);
    shown.sort_by_key(|f| (f.began, &f.id));
    shown
        .into_iter()
        .zip(1..)
        .map(|(finding, number)| bar(finding, number, axis))
        .collect()
}

/// Whether any of a finding lies in the period.
pub fn touches(finding: &Finding, axis: &TimeAxis) -> bool {
    finding.began < axis.to && finding.ended.is_none_or(|ended| ended >= axis.from)
}

fn bar<'a>(finding: &'a Finding, number: usize, axis: &TimeAxis) -> Bar<'a> {
    let ended = finding.ended.unwrap_or(axis.to);
    let (left, right) = (axis.x_inside(finding.began), axis.x_inside(ended));
    let left = left.min(axis.right - SHORTEST_PX);
    Bar {
        number,
        finding,
        left,
        right: right.max(left + SHORTEST_PX),
        before: finding.began < axis.from,
        beyond: finding.ended.is_none_or(|ended: Time| ended > axis.to),
    }
}

/// The lane: each bar with its label, in as few rows as keep them apart.
pub fn lane<'a>(bars: &[Bar<'a>], axis: &TimeAxis, fonts: &Fonts) -> Vec<LaneBar<'a>> {
    let labelled: Vec<_> = bars.iter().map(|bar| labelled(bar, axis, fonts)).collect();
    let extents: Vec<_> = labelled
        .iter()
        .map(|b| (b.bar.left.min(b.label_left), b.bar.right.max(b.label_right)))
        .collect();
    let mut lane = labelled;
    for (bar, row) in lane.iter_mut().zip(rows(&extents)) {
        bar.row = row;
    }
    lane
}

/// The label right of the bar, else left of it, else on it.
fn labelled<'a>(bar: &Bar<'a>, axis: &TimeAxis, fonts: &Fonts) -> LaneBar<'a> {
    let room = axis.right - axis.left - 2.0 * SPACE_PX;
    let label = fonts.fitted(&label(bar), LABEL, room);
    let width = fonts.width(&label, LABEL);
    let right_of = bar.right + SPACE_PX;
    let left_of = bar.left - SPACE_PX - width;
    let label_left = if right_of + width <= axis.right {
        right_of
    } else if left_of >= axis.left {
        left_of
    } else {
        (bar.left + 2.0 * SPACE_PX).min(axis.right - SPACE_PX - width)
    };
    LaneBar {
        bar: bar.clone(),
        row: 0,
        label,
        label_left,
        label_right: label_left + width,
    }
}

/// `2  string open: inv-1 input 2, string B (soon, stands)`
fn label(bar: &Bar) -> String {
    let finding = bar.finding;
    let kind = words::kind(finding.kind);
    let subject = words::subject(&finding.subject);
    let severity = finding.severity.name();
    let stands = if finding.ended.is_none() {
        ", stands"
    } else {
        ""
    };
    format!("{}  {kind}: {subject} ({severity}{stands})", bar.number)
}

/// A bar above a panel.
#[derive(Debug, Clone)]
pub struct TagBar<'a> {
    /// The bar.
    pub bar: Bar<'a>,
    /// Row from the top.
    pub row: usize,
}

/// The bars above a panel.
pub fn tags<'a>(bars: Vec<Bar<'a>>, fonts: &Fonts) -> Vec<TagBar<'a>> {
    let extents: Vec<_> = bars
        .iter()
        .map(|bar| (bar.left, bar.right + tag_width(bar, fonts)))
        .collect();
    bars.into_iter()
        .zip(rows(&extents))
        .map(|(bar, row)| TagBar { bar, row })
        .filter(|tag| tag.row < MOST_TAG_ROWS)
        .collect()
}

/// Room for a number beside its bar.
pub fn tag_width(bar: &Bar, fonts: &Fonts) -> f64 {
    fonts.width(&bar.number.to_string(), TAG) + SPACE_PX / 2.0
}

/// How many rows these bars take.
pub fn row_count(rows: impl Iterator<Item = usize>) -> usize {
    rows.max().map_or(0, |last| last + 1)
}

/// For each extent the first row in which it touches no earlier one.
fn rows(extents: &[(f64, f64)]) -> Vec<usize> {
    let mut taken: Vec<Vec<(f64, f64)>> = Vec::new();
    let free = |row: &Vec<(f64, f64)>, (left, right): (f64, f64)| {
        row.iter()
            .all(|&(l, r)| right + SPACE_PX < l || r + SPACE_PX < left)
    };
    extents
        .iter()
        .map(|&extent| {
            let row = taken
                .iter()
                .position(|row| free(row, extent))
                .unwrap_or(taken.len());
            if row == taken.len() {
                taken.push(Vec::new());
            }
            taken[row].push(extent);
            row
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bars_that_would_touch_take_different_rows() {
        let extents = [(0.0, 100.0), (50.0, 60.0), (108.0, 200.0), (103.0, 120.0)];
        assert_eq!(rows(&extents), [0, 1, 0, 1]);
    }
}
