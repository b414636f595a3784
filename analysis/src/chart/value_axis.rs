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

    fn over(low: f64, high: f64, height: f64) -> Self {
        let most = (height / VALUE_LABEL_ROOM).floor().max(1.0);
        let step = round_step((high - low) / most);
        let decimals = (-step.log10().floor()).max(0.0) as usize;
        let first = (low / step).ceil() as i64;
        let ticks = (first..)
            .map(|i| i as f64 * step)
            .take_while(|&v| v <= high)
            .map(|v| (v, format!("{v:.decimals$}")))
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
        largest => largest * LEAST_RANGE_RATIO,
    }
}

/// The smallest of 1, 2, 5, 10, ... that is at least this.
fn round_step(least: f64) -> f64 {
    let decade = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .into_iter()
        .map(|m| m * decade)
        .find(|&step| step >= least)
        .unwrap_or(10.0 * decade)
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
    use super::*;

    #[test]
    fn ticks_are_round_and_inside() {
        let axis = ValueAxis::over(0.0, 9.7, 80.0);
        let labels: Vec<_> = axis.ticks.iter().map(|(_, label)| label.as_str()).collect();
        assert_eq!(labels, ["0", "5"]);
        let axis = ValueAxis::over(482.0, 655.0, 80.0);
        let labels: Vec<_> = axis.ticks.iter().map(|(_, label)| label.as_str()).collect();
        assert_eq!(labels, ["500", "600"]);
        let axis = ValueAxis::over(0.0, 0.35, 100.0);
        let labels: Vec<_> = axis.ticks.iter().map(|(_, label)| label.as_str()).collect();
        assert_eq!(labels, ["0.0", "0.1", "0.2", "0.3"]);
    }
}
