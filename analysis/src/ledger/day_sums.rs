//! What the figures of one inverter and day are made of: sums that add up to those of a site, a
//! month, a year.
//!
//! Light is counted by the sine of the sun's height: an hour at dawn hides less than one at noon.
//! Never in here: a quotient.

use super::rating::Rating;
use crate::detect::{InverterSlot, Slot};
use crate::expected::WeatherRung;
use std::ops::AddAssign;

/// Of slots with the sun up. `light` is rated power x sine of the sun's height x hours [Wh].
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub(super) struct DaySums {
    /// Rated power of the modules [W].
    pub rated_w: f64,
    /// All light there was.
    pub light_wh: f64,
    /// Light and energy of slots with AC power.
    pub output_light_wh: f64,
    pub output_wh: f64,
    /// Of those, slots in which the light was measured, apart from the plant.
    pub joint_light_wh: f64,
    pub joint_output_wh: f64,
    pub reference_wh: f64,
    pub reference_at_cell_wh: f64,
    /// Slots in which all inputs and the light were measured.
    pub array_light_wh: f64,
    pub array_wh: f64,
    pub array_reference_wh: f64,
    /// Slots in which all inputs and the AC power were measured.
    pub system_light_wh: f64,
    pub system_loss_wh: f64,
    /// Slots with measured and expected AC power.
    pub model_light_wh: f64,
    pub model_output_wh: f64,
    pub expected_wh: f64,
    /// Slots in light that is enough to work in, in which it is known whether the inverter did:
    /// light of them and of all slots; rated power x hours told and at work.
    pub told_light_wh: f64,
    pub told_wh: f64,
    pub at_work_wh: f64,
    /// What was delivered then, and what was missing while it stood still.
    pub told_output_wh: f64,
    pub outage_wh: f64,
}

impl DaySums {
    pub fn add(&mut self, rating: &Rating, slot: &Slot, now: &InverterSlot, sun_height: f64) {
        if sun_height <= 0.0 {
            return;
        }
        let hours = slot.span.hours();
        let light_wh = rating.rated_w * sun_height * hours;
        self.add_work(rating, now, hours, light_wh);
        // Light that the plant's own output shows would measure the plant by itself.
        let measured = |rung| rung != WeatherRung::ScaledClearSky;
        let reference = rating.reference(slot, measured);
        let array_wh = now.dc_power().map(|p| p.w() * hours);
        if let Some((reference, array_wh)) = reference.zip(array_wh) {
            self.array_light_wh += light_wh;
            self.array_wh += array_wh;
            self.array_reference_wh += reference.power_w * hours;
        }
        let Some(output_wh) = now.ac_power.map(|p| p.w() * hours) else {
            return;
        };
        self.output_light_wh += light_wh;
        self.output_wh += output_wh;
        if let Some(array_wh) = array_wh {
            self.system_light_wh += light_wh;
            self.system_loss_wh += array_wh - output_wh;
        }
        if let Some(expected) = now.expected_ac_power {
            self.model_light_wh += light_wh;
            self.model_output_wh += output_wh;
            self.expected_wh += expected.w() * hours;
        }
        if let Some(reference) = reference {
            self.joint_light_wh += light_wh;
            self.joint_output_wh += output_wh;
            self.reference_wh += reference.power_w * hours;
            self.reference_at_cell_wh += reference.at_cell_w * hours;
        }
    }

    fn add_work(&mut self, rating: &Rating, now: &InverterSlot, hours: f64, light_wh: f64) {
        if !now.is_lit() {
            // In too little light nothing is asked of it, provided that somebody looked.
            if now.producing.is_some() {
                self.told_light_wh += light_wh;
            }
            return;
        }
        let Some(producing) = now.producing else {
            return;
        };
        // Held back to nothing is at work; asleep in enough light is not.
        let at_work = producing || now.limit.is_some_and(|limit| limit.holds_back());
        let output_w = now.ac_power.map_or(0.0, |p| p.w());
        let expected_w = now.expected_ac_power.map_or(0.0, |p| p.w());
        self.told_light_wh += light_wh;
        self.told_wh += rating.rated_w * hours;
        self.told_output_wh += output_w * hours;
        if at_work {
            self.at_work_wh += rating.rated_w * hours;
        } else {
            self.outage_wh += (expected_w - output_w).max(0.0) * hours;
        }
    }

    /// The sums of the same part of a plant over more time: its rating stays.
    pub fn extend(&mut self, later: &Self) {
        let rated_w = self.rated_w.max(later.rated_w);
        *self += *later;
        self.rated_w = rated_w;
    }
}

/// Of another inverter at the same time.
impl AddAssign for DaySums {
    fn add_assign(&mut self, other: Self) {
        self.rated_w += other.rated_w;
        self.light_wh += other.light_wh;
        self.output_light_wh += other.output_light_wh;
        self.output_wh += other.output_wh;
        self.joint_light_wh += other.joint_light_wh;
        self.joint_output_wh += other.joint_output_wh;
        self.reference_wh += other.reference_wh;
        self.reference_at_cell_wh += other.reference_at_cell_wh;
        self.array_light_wh += other.array_light_wh;
        self.array_wh += other.array_wh;
        self.array_reference_wh += other.array_reference_wh;
        self.system_light_wh += other.system_light_wh;
        self.system_loss_wh += other.system_loss_wh;
        self.model_light_wh += other.model_light_wh;
        self.model_output_wh += other.model_output_wh;
        self.expected_wh += other.expected_wh;
        self.told_light_wh += other.told_light_wh;
        self.told_wh += other.told_wh;
        self.at_work_wh += other.at_work_wh;
        self.told_output_wh += other.told_output_wh;
        self.outage_wh += other.outage_wh;
    }
}
