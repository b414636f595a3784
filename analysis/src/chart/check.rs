//! What a summary must fulfil before anything is drawn.

use super::ChartError;
use super::period::{FIRST_MS, LAST_MS};
use super::{Size, SummaryInput};
use crate::detect::{InputSlot, Slot};
use crate::plant::Plant;
use crate::reading::Time;

/// Larger than any volt, ampere or watt at a plant (common sense, a gigawatt plant included).
const LARGEST_VALUE: f64 = 1e10;
/// Larger than any screen or print, and 200 MB of pixels while drawing.
const LARGEST_PX: u32 = 6000;

/// Checks everything that the drawing relies on.
pub fn input(input: &SummaryInput, size: Size) -> Result<(), ChartError> {
    for px in [size.width_px, size.max_height_px] {
        if px > LARGEST_PX {
            return Err(ChartError::TooLarge {
                px,
                most_px: LARGEST_PX,
            });
        }
    }
    if input.slots.is_empty() {
        return Err(ChartError::NothingToDraw);
    }
    order(input.slots)?;
    for slot in input.slots {
        shape(slot, input.plant)?;
        values(slot)?;
    }
    input.findings.iter().try_for_each(|finding| {
        let ended = finding.ended.unwrap_or(finding.began);
        calendar(finding.began.unix_ms(), ended.unix_ms())
    })
}

fn order(slots: &[Slot]) -> Result<(), ChartError> {
    let mut last_ended = Time::from_unix_ms(FIRST_MS);
    for slot in slots {
        let (from, length) = (slot.start.unix_ms(), slot.span.ms());
        calendar(from, from.saturating_add(length.saturating_sub(1)))?;
        if slot.start < last_ended {
            return Err(ChartError::SlotsOutOfOrder {
                at: slot.start,
                last_ended,
            });
        }
        last_ended = slot.start + slot.span;
    }
    Ok(())
}

/// `to_ms` before `from_ms` is what a slot without length gives.
fn calendar(from_ms: i64, to_ms: i64) -> Result<(), ChartError> {
    if FIRST_MS <= from_ms && from_ms <= to_ms && to_ms <= LAST_MS {
        Ok(())
    } else {
        Err(ChartError::OutsideCalendar { from_ms, to_ms })
    }
}

fn shape(slot: &Slot, plant: &Plant) -> Result<(), ChartError> {
    let same = |what, found, wanted| {
        if found == wanted {
            Ok(())
        } else {
            Err(ChartError::NotThisPlant {
                at: slot.start,
                what,
                found,
                wanted,
            })
        }
    };
    same("planes", slot.planes.len(), plant.planes.len())?;
    same("inverters", slot.inverters.len(), plant.inverters.len())?;
    for (measured, fixed) in slot.inverters.iter().zip(&plant.inverters) {
        same("inputs", measured.inputs.len(), fixed.inputs.len())?;
    }
    Ok(())
}

fn values(slot: &Slot) -> Result<(), ChartError> {
    let drawable = |what, value: Option<f64>| match value {
        // A range does not contain NaN.
        Some(value) if !(-LARGEST_VALUE..=LARGEST_VALUE).contains(&value) => {
            Err(ChartError::NotDrawable {
                at: slot.start,
                what,
                value,
            })
        }
        _ => Ok(()),
    };
    for plane in &slot.planes {
        drawable("irradiance", plane.poa.map(|(poa, _)| poa.w_m2()))?;
    }
    for inverter in &slot.inverters {
        drawable("AC power", inverter.ac_power.map(|p| p.w()))?;
        drawable(
            "expected AC power",
            inverter.expected_ac_power.map(|p| p.w()),
        )?;
        for (what, value) in inverter.inputs.iter().flat_map(named_values) {
            drawable(what, value)?;
        }
    }
    Ok(())
}

fn named_values(input: &InputSlot) -> [(&'static str, Option<f64>); 6] {
    let expected = input.expected;
    [
        ("voltage", input.voltage.map(|v| v.v())),
        ("current", input.current.map(|i| i.a())),
        ("expected voltage", expected.map(|e| e.voltage.v())),
        ("expected current", expected.map(|e| e.current.a())),
        (
            "sigma of the voltage",
            expected.map(|e| e.sigma_voltage.v()),
        ),
        (
            "sigma of the current",
            expected.map(|e| e.sigma_current.a()),
        ),
    ]
}
