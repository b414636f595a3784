//! From readings and expected values to suspicions.
//!
//! By what the detectors look at:
//! - slots of an input: [`Window`] (dead, or its current or voltage low now), [`StringsWatch`] (strings
//!   beside each other), [`OffPeakWatch`] (away from the peak of its curve);
//! - days of an input: [`ArrayWatch`] (current and voltage beside references), [`ShadeWatch`] (loss at
//!   positions of the sun), both on days made of slots;
//! - days of an inverter: [`EfficiencyWatch`], [`LimitedDays`], [`WiringWatch`] (which array hangs on which
//!   input), and its slots: [`StandstillWatch`];
//! - days and weeks of a plane: [`SoilingWatch`], [`YearWatch`];
//! - insulation: [`IsolationWatch`] and [`PositionWatch`] poll by poll, [`MorningWatch`], [`Mornings`] and
//!   [`NearWatch`] day by day; leakage: [`ResidualCurrentWatch`];
//! - the supply: [`SupplyWatch`], [`TripPattern`] and [`ProtectionWatch`] poll by poll, [`ExportWatch`] step
//!   by step, [`SupplyDays`] day by day;
//! - the measuring itself: [`LinkWatch`], [`ImpossibleWatch`], [`CounterWatch`] and [`FrozenWatch`] poll by
//!   poll, [`DarkSensorWatch`] slot by slot, [`SensorWatch`], [`BackSensorWatch`] and [`ClockWatch`] day by
//!   day.
//!
//! A detector of an input's slots hands its samples on to `diagnose`, which says what they mean; the
//! others know what they saw.
//! Never in here: causes, advice, texts for people.

mod array_day;
mod array_watch;
mod back_sensor;
mod budget;
mod clock;
mod dark_sensor;
mod degradation;
mod efficiency;
mod export;
mod export_day;
mod fall;
mod frozen;
mod gate;
mod impossible;
mod isolation;
mod kind;
mod limit;
mod limit_edges;
mod limited;
mod link;
mod nights;
mod off_peak;
#[cfg(test)]
mod off_peak_tests;
mod phase_days;
mod possible;
mod protection;
mod reconnection;
mod residual;
mod residual_current;
mod sensor;
mod shade;
mod shift;
mod slope;
mod slot;
mod soiling;
mod standstill;
mod strings;
mod supply;
mod supply_days;
#[cfg(test)]
mod test_noise;
mod trip;
mod trip_days;
mod trip_pattern;
mod wetness;
mod window;
mod wiring;

pub use array_day::{ArrayDay, ArraySample, ArrayToday, DayMedian, VoltageSums};
pub use array_watch::{ArrayWatch, Beside, Deficit, Reference, References};
pub use back_sensor::{BRIGHT_W_M2, BackSensorWatch};
pub use budget::Budget;
pub use clock::{ClockOff, ClockWatch, Course, Offset, ShownBy, is_smooth, offset};
pub use dark_sensor::{DarkSensorWatch, Shows};
pub use degradation::{YearWatch, YearlyLoss};
pub use efficiency::{EfficiencyDay, EfficiencyLow, EfficiencySlot, EfficiencyWatch};
pub use export::{ExportPoll, ExportSite, ExportWatch, Exporter};
pub use export_day::ExportDay;
pub use frozen::{Frozen, FrozenWatch, WatchedValue};
pub use gate::{Gate, GateFacts, gate};
pub(crate) use gate::{HELD_BACK_RATIO, MAX_UNSTEADY_RATIO, MIN_POA_W_M2};
pub use impossible::{CounterWatch, ImpossibleValue, ImpossibleWatch};
pub use isolation::{
    Fall, Falling, FaultPosition, IsolationPoll, IsolationWatch, Morning, MorningPoll,
    MorningWatch, Mornings, NearLimit, NearWatch, PositionError, PositionWatch, Published, Start,
    fault_position,
};
pub use kind::{Cost, Kind, Severity};
pub use limit::{Acting, LimitFacts, acting};
pub use limited::{LimitedDays, LimitedEdge, LimitedSlot, Stretch};
pub use link::LinkWatch;
pub use nights::NightWatch;
pub use off_peak::{
    OffPeak, OffPeakDay, OffPeakSlot, OffPeakWatch, Shared, is_allowed, lost_along_curve,
    off_peak_guard, off_peak_slot,
};
pub use phase_days::DaysMean;
pub use possible::{Possible, is_sentinel};
pub use protection::{Acted, Protection, ProtectionEdge, ProtectionPoll, ProtectionWatch};
pub use reconnection::{Compared, Reconnection};
pub use residual::{
    Residual, common_factor, common_of_alike, common_voltage, reference_current, residual,
};
pub use residual_current::{ResidualCurrentWatch, residual_current_limit_a};
pub use sensor::{SensorBasis, SensorFault, SensorSlot, SensorWatch};
pub use shade::{FoundShade, ShadeShape, ShadeWatch};
pub use shift::{DayValue, Shift, ShiftWatch, Sought};
pub use slot::{InputSlot, InverterSlot, PlaneSlot, Slot};
pub use soiling::{DirtBeside, PlaneDay, Soiled, SoilingWatch};
pub use standstill::{Made, Standstill, StandstillWatch};
pub use strings::{StringFault, StringMean, StringWindow, StringsFacts, StringsWatch};
pub use supply::{Poll, SupplyWatch};
pub use supply_days::{
    HighBecause, ResistanceHigh, SupplyDays, SupplyEdge, SupplyFacts, VoltageHigh, rise_v,
};
pub use trip::{Neighbours, TripCause, TripReport};
pub use trip_pattern::{PatternEdge, PatternPoll, Repeated, Together, TripPattern};
pub use wetness::{Dampness, Moisture};
pub use window::{Sample, Window};
pub use wiring::{Fit, Part, Spread, Wiring, WiringDay, WiringSlot, WiringWatch};

use crate::reading::Time;

/// What a poll detector saw begin or end.
#[derive(Debug, Clone, PartialEq)]
pub enum Edge<T> {
    /// It began then, and there is now enough evidence to say so.
    Found {
        /// First evidence.
        began: Time,
        /// When it could be said.
        found: Time,
        /// What was seen.
        seen: T,
    },
    /// It ended then.
    Ended {
        /// End of the evidence.
        at: Time,
    },
}

impl<T> Edge<T> {
    /// The same, with something else made of what was seen.
    pub fn map<U>(self, of: impl FnOnce(T) -> U) -> Edge<U> {
        match self {
            Self::Found { began, found, seen } => Edge::Found {
                began,
                found,
                seen: of(seen),
            },
            Self::Ended { at } => Edge::Ended { at },
        }
    }
}
