//! What inverters publish of their protection: kept until its time has come, then in force.
//!
//! Settings wait like readings do, so that the order of delivery changes nothing, and are part of the
//! state, so that a restart does not either.
//! Never in here: how settings take the place of rules (`plant::grid_settings`).

use super::{Engine, EngineState};
use crate::plant::{GridLimits, GridSettings, Plant};
use crate::reading::Time;

impl Engine {
    /// Of an inverter that the plant does not have nothing is kept.
    pub(super) fn take_settings(&mut self, i: usize, at: Time, settings: GridSettings) {
        if i < self.plant.inverters.len() {
            self.state.coming_settings.insert((at, i), settings);
        }
    }

    /// Puts in force what was read until then.
    pub(super) fn apply_settings(&mut self, until: Time) {
        while let Some(next) = self.state.coming_settings.first_entry() {
            let (at, i) = *next.key();
            if at > until {
                return;
            }
            let settings = next.remove();
            self.limits[i] = self.plant.site.grid_limits.with(&settings);
            self.state.inverters[i].settings = Some(settings);
        }
    }
}

/// By inverter, as the state has them.
pub(super) fn limits(plant: &Plant, state: &EngineState) -> Vec<GridLimits> {
    let rules = &plant.site.grid_limits;
    let of = |settings: &Option<GridSettings>| {
        settings
            .as_ref()
            .map_or_else(|| rules.clone(), |s| rules.with(s))
    };
    let inverters = state.inverters.iter();
    inverters.map(|inverter| of(&inverter.settings)).collect()
}
