//! What the lines, areas and patterns mean; only those that occur.

use super::SummaryInput;
use super::lane::Bar;
use super::lettering::Fonts;
use super::period::TimeAxis;
use super::series::by_day;
use super::style::*;
use super::words;
use crate::detect::{Gate, Severity, Slot};
use crate::reading::Span;

/// What is explained.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Key {
    /// Only text.
    Word,
    /// The measured line.
    Measured,
    /// The expected line in its band.
    Expected,
    /// The range of a day.
    DayRange,
    /// A pattern of the strip.
    Gate(Gate),
    /// A bar of a finding.
    Severity(Severity),
}

impl Key {
    /// Width of its sample [pixel].
    pub fn width(self) -> f64 {
        match self {
            Key::Word => 0.0,
            Key::Measured | Key::Expected | Key::DayRange => 34.0,
            Key::Gate(_) | Key::Severity(_) => 26.0,
        }
    }
}

/// One explanation in its place.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// What.
    pub key: Key,
    /// In words.
    pub text: String,
    /// Left edge [pixel].
    pub x: f64,
    /// Middle line [pixel].
    pub y: f64,
}

/// All explanations.
#[derive(Debug, Clone, PartialEq)]
pub struct Legend {
    /// In reading order.
    pub entries: Vec<Entry>,
    /// Lower edge [pixel].
    pub bottom: f64,
}

/// Between a sample and its text, and between entries [pixel].
pub const SPACE_PX: f64 = 7.0;
const ENTRY_GAP_PX: f64 = 22.0;
/// Under the two lines of the title [pixel].
const TOP_PX: f64 = MARGIN + 62.0;
const BELOW_PX: f64 = 6.0;

/// The legend of a picture, broken into rows at the right edge.
pub fn new(input: &SummaryInput, axis: &TimeAxis, bars: &[Bar], fonts: &Fonts) -> Legend {
    let all = |_: usize, _: usize| true;
    placed(
        [lines(axis), gates(input, &all, axis), severities(bars)],
        axis,
        fonts,
    )
}

/// The legend of a picture of one input.
pub fn of_input(
    input: &SummaryInput,
    (inverter, number): (usize, usize),
    axis: &TimeAxis,
    fonts: &Fonts,
) -> Legend {
    let it = |i: usize, k: usize| (i, k) == (inverter, number);
    placed(
        [lines(axis), gates(input, &it, axis), Vec::new()],
        axis,
        fonts,
    )
}

fn placed(groups: [Vec<(Key, String)>; 3], axis: &TimeAxis, fonts: &Fonts) -> Legend {
    let mut entries = Vec::new();
    let mut y = TOP_PX;
    for group in groups {
        if group.is_empty() {
            continue;
        }
        let mut x = MARGIN;
        for (key, text) in group {
            let width = key.width() + SPACE_PX + fonts.width(&text, LABEL);
            if x + width > axis.right && x > MARGIN {
                x = MARGIN;
                y += LEGEND_ROW;
            }
            entries.push(Entry { key, text, x, y });
            x += width + ENTRY_GAP_PX;
        }
        y += LEGEND_ROW;
    }
    Legend {
        entries,
        bottom: y + BELOW_PX,
    }
}

fn lines(axis: &TimeAxis) -> Vec<(Key, String)> {
    let mut lines = vec![
        (Key::Measured, "measured".to_owned()),
        (
            Key::Expected,
            "expected, with ± 2 standard deviations".to_owned(),
        ),
    ];
    if by_day(axis) {
        let text = "least to greatest of the day; lines pass through its best tested slot";
        lines.push((Key::DayRange, text.to_owned()));
    }
    lines
}

/// The gates of the inputs that `shown` tells, by the places of inverter and input.
fn gates(
    input: &SummaryInput,
    shown: &dyn Fn(usize, usize) -> bool,
    axis: &TimeAxis,
) -> Vec<(Key, String)> {
    let has = |slot: &Slot, gate: Gate| {
        slot.inverters.iter().enumerate().any(|(i, inverter)| {
            let mut inputs = inverter.inputs.iter().enumerate();
            inputs.any(|(k, input)| input.gate == gate && shown(i, k))
        })
    };
    let occurs = |gate: Gate| input.slots.iter().any(|slot| has(slot, gate));
    // Where a day is one point, a gap is a day without a slot.
    let joined = |slot: &Slot| match by_day(axis) {
        true => slot.start + Span::from_h(48),
        false => slot.start + slot.span,
    };
    let gap = input.slots.windows(2).any(|s| joined(&s[0]) < s[1].start);
    let shown: Vec<_> = words::UNTESTED_GATES
        .into_iter()
        .filter(|&gate| occurs(gate) || (gap && gate == Gate::NotMeasured))
        .map(|gate| (Key::Gate(gate), words::gate(gate).to_owned()))
        .collect();
    if shown.is_empty() {
        return shown;
    }
    let word = (Key::Word, "Grey ground, not tested:".to_owned());
    std::iter::once(word).chain(shown).collect()
}

fn severities(bars: &[Bar]) -> Vec<(Key, String)> {
    let occurs = |s: Severity| bars.iter().any(|bar| bar.finding.severity == s);
    let shown: Vec<_> = words::SEVERITIES
        .into_iter()
        .filter(|&s| occurs(s))
        .map(|s| {
            let text = format!("{}: {}", s.name(), s.meaning());
            (Key::Severity(s), text)
        })
        .collect();
    if shown.is_empty() {
        return shown;
    }
    let word = (Key::Word, "Findings, by number:".to_owned());
    std::iter::once(word).chain(shown).collect()
}
