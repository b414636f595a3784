//! The value axis of one panel: its range, and round numbers for its ticks.

use super::series::Source;
use super::style::VALUE_LABEL_ROOM;
use crate::detect::{Gate, Slot};

/// Room above the largest value, over the range.
const HEADROOM_RATIO: f64 = 0.06;
/// A voltage axis that would begin lower than this share of its end begins at zero.
const FROM_ZERO_RATIO: f64 = 0.4;
/// A band may take the axis this much higher than all values do; beyond, it is cut.
const BAND_RATIO: f64 = 0.5;
/// A range smaller than this share of its values is widened, or the ticks would need many digits.
const LEAST_RANGE_RATIO: f64 = 0.01;
/// A range smaller than this is widened as well: no device here measures finer than a millionth of
/// its unit.
const LEAST_RANGE: f64 = 1e-6;
/// Values below zero smaller than this share of the range are offsets and noise of the night.
const NOISE_RATIO: f64 = 0.02;

/// The range of one panel.
#[derive(Debug, Clone, PartialEq)]
pub struct ValueAxis {
    /// Value at the lower edge.
    pub low: f64,
    /// Value at the upper edge.
    pub high: f64,
    /// Values and their labels.
    pub ticks: Vec<(f64, String)>,
}

impl ValueAxis {
    /// The axis for everything that a panel of `height` pixels shows; `None` without any value.
    pub fn new(source: Source, slots: &[Slot], height: f64) -> Option<Self> {
        let (low, high) = match source {
            Source::Voltage(..) => voltage_range(source, slots)?,
            Source::Irradiance(_) | Source::Ac(_) | Source::Current(..) => {
                range_from_zero(source, slots)?
            }
        };
        let high = high.max(low + least_range(low, high));
        let room = (high - low) * HEADROOM_RATIO;
        let low = if low == 0.0 { low } else { low - room };
        Some(Self::over(low, high + room, height))
    }

    /// From one value to another over so many pixels upwards.
    pub fn over(low: f64, high: f64, height: f64) -> Self {
        let most = (height / VALUE_LABEL_ROOM).floor().max(1.0);
        let step = Step::at_least((high - low) / most);
        // Rounding may put the first multiple just below the edge.
        let first = (low / step.multiple(1)).floor() as i64;
        let ticks = (first..)
            .map(|i| step.multiple(i))
            .skip_while(|&v| v < low)
            .take_while(|&v| v <= high)
            .map(|v| (v, step.label(v)))
            .collect();
        Self { low, high, ticks }
    }

    /// Whether the lower edge is at or below zero.
    pub fn shows_zero(&self) -> bool {
        self.low <= 0.0
    }
}

fn least_range(low: f64, high: f64) -> f64 {
    match low.abs().max(high.abs()) {
        0.0 => 1.0,
        largest => (largest * LEAST_RANGE_RATIO).max(LEAST_RANGE),
    }
}

/// 1, 2 or 5 times a power of ten, kept apart so that every multiple is the double next to the
/// number of its label; a product with an inexact 0.1 is not.
#[derive(Debug, Clone, Copy)]
struct Step {
    digit: i64,
    exponent: i32,
}

impl Step {
    /// The smallest that is at least this.
    fn at_least(least: f64) -> Self {
        // The logarithm of a power of ten may be rounded below it, so this begins one lower.
        let lowest = least.log10().floor() as i32 - 1;
        (lowest..)
            .flat_map(|exponent| [1, 2, 5].map(|digit| Self { digit, exponent }))
            .find(|step| step.multiple(1) >= least)
            .expect("powers of ten outgrow every finite number")
    }

    fn multiple(self, count: i64) -> f64 {
        let digits = (count * self.digit) as f64;
        if self.exponent < 0 {
            digits / 10f64.powi(-self.exponent)
        } else {
            digits * 10f64.powi(self.exponent)
        }
    }

    /// With as many decimals as the step has.
    fn label(self, value: f64) -> String {
        let decimals = self.exponent.min(0).unsigned_abs() as usize;
        format!("{value:.decimals$}")
    }
}

/// Zero to the largest value, with the band where that is not far above.
fn range_from_zero(source: Source, slots: &[Slot]) -> Option<(f64, f64)> {
    let samples = || slots.iter().map(|s| source.sample(s));
    let (low, high) = extent(samples().flat_map(|s| [s.measured, s.expected]))?;
    let top = extent(samples().map(|s| s.band().map(|(_, upper)| upper)))
        .map_or(high, |(_, upper)| {
            upper.clamp(high, high + high.abs() * BAND_RATIO)
        });
    let low = if low < -NOISE_RATIO * top.abs() {
        low
    } else {
        0.0
    };
    Some((low, top.max(0.0)))
}

/// From the lowest value in tested light to the highest at all: at dawn the voltage runs through
/// everything from zero, and that would press the part that matters into a few pixels.
fn voltage_range(source: Source, slots: &[Slot]) -> Option<(f64, f64)> {
    let samples = || slots.iter().map(|s| source.sample(s));
    let (lowest, high) = extent(samples().flat_map(|s| [s.measured, s.expected]))?;
    let in_light =
        samples().filter(|s| matches!(s.gate, Some(Gate::Valid | Gate::Limited | Gate::Unsteady)));
    let low = extent(in_light.flat_map(|s| [s.measured, s.band().map(|(lower, _)| lower)]))
        .map_or(lowest, |(low, _)| low);
    if low.min(high) < FROM_ZERO_RATIO * high {
        Some((low.min(0.0), high.max(0.0)))
    } else {
        Some((low.min(high), high))
    }
}

fn extent(values: impl Iterator<Item = Option<f64>>) -> Option<(f64, f64)> {
    values.flatten().fold(None, |range, v| {
        let (low, high) = range.unwrap_or((v, v));
        Some((v.min(low), v.max(high)))
    })
}

#[cfg(test)]
mod tests {
    use super::super::style::PANEL_HEIGHT;
    use super::*;
    use proptest::prelude::*;

    fn labels(axis: &ValueAxis) -> Vec<&str> {
        axis.ticks.iter().map(|(_, label)| label.as_str()).collect()
    }

    /// Steps at which as many labels as possible have the room of one.
    #[test]
    fn ticks_are_round_and_as_dense_as_labels_allow() {
        let five_labels = 5.0 * VALUE_LABEL_ROOM;
        let axis = ValueAxis::over(0.0, 9.7, five_labels);
        assert_eq!(labels(&axis), ["0", "2", "4", "6", "8"]);
        let axis = ValueAxis::over(482.0, 655.0, five_labels);
        assert_eq!(labels(&axis), ["500", "550", "600", "650"]);
        let axis = ValueAxis::over(0.0, 0.35, 4.0 * VALUE_LABEL_ROOM);
        assert_eq!(labels(&axis), ["0.0", "0.1", "0.2", "0.3"]);
    }

    #[test]
    fn a_tick_on_the_edge_is_shown() {
        let axis = ValueAxis::over(0.3, 0.7, 5.0 * VALUE_LABEL_ROOM);
        assert_eq!(labels(&axis), ["0.3", "0.4", "0.5", "0.6", "0.7"]);
    }

    fn edges() -> impl Strategy<Value = (f64, f64)> {
        let magnitude = (-9.0..9.0f64).prop_map(|exponent| 10f64.powf(exponent));
        // A range is at least LEAST_RANGE_RATIO of the values in it.
        let beginning = prop_oneof![Just(0.0), -99.0..99.0f64];
        (magnitude, beginning).prop_map(|(range, share)| (share * range, share * range + range))
    }

    proptest! {
        #[test]
        fn ticks_are_inside_apart_and_told_by_their_labels(
            (low, high) in edges(),
            height in 2.0 * VALUE_LABEL_ROOM..400.0,
        ) {
            /// Of the difference of two ticks far from zero.
            const ROUNDING_PX: f64 = 1e-9;
            let axis = ValueAxis::over(low, high, height);
            for (value, label) in &axis.ticks {
                prop_assert!((low..=high).contains(value), "{value} in {low} to {high}");
                prop_assert_eq!(label.parse::<f64>().ok(), Some(*value));
            }
            for pair in axis.ticks.windows(2) {
                let gap_px = (pair[1].0 - pair[0].0) / (high - low) * height;
                prop_assert!(gap_px >= VALUE_LABEL_ROOM - ROUNDING_PX, "{gap_px} px");
                prop_assert!(pair[0].1 != pair[1].1);
            }
        }

        #[test]
        fn a_panel_of_usual_height_has_at_least_two_ticks((low, high) in edges()) {
            let axis = ValueAxis::over(low, high, PANEL_HEIGHT);
            prop_assert!(axis.ticks.len() >= 2, "{:?}", axis);
        }
    }
}
