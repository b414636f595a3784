//! The faults of the campaign: kind, how its size is drawn in three classes, the smallest size that
//! must be found and by when. One line each; the last two columns are the contract of the design.
//! Never in here: what a fault does (`fault`, `inject`).

use analysis::reading::Span;

/// How long the contract gives.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Deadline {
    /// Minutes in which the plane has light for a test (100 W/m2, sun 8 deg up).
    LightMinutes(f64),
    /// Days with a clear or nearly clear sky, the day it began not counted.
    ClearDays(i64),
    /// Days.
    Days(i64),
    /// Polls of the device.
    Polls(i64),
}

/// What a fault is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// One input; a finding must name it.
    Input,
    /// The inverter, the sensor or the plant.
    Device,
}

/// One kind.
#[derive(Debug, Clone, Copy)]
pub struct KindRow {
    /// As in `findings.jsonl`.
    pub name: &'static str,
    /// What its size counts.
    pub unit: &'static str,
    /// Lowest and highest size of each class, small to large.
    pub classes: [(f64, f64); 3],
    /// What must be found: the smallest size.
    pub smallest: f64,
    /// By when.
    pub deadline: Deadline,
    /// Days that the engine is watched for after it is evident.
    pub watch_days: i64,
    /// What it is on.
    pub on: Scope,
}

use Deadline::{ClearDays, Days, LightMinutes, Polls};
use Scope::{Device, Input};

macro_rules! kinds {
    ($($name:literal $unit:literal $classes:expr, $smallest:literal, $deadline:expr, $watch:literal, $on:expr;)*) => {
        /// Every kind of the campaign. `degradation` runs only where the runs are long enough.
        pub const KINDS: &[KindRow] = &[$(KindRow {
            name: $name,
            unit: $unit,
            classes: $classes,
            smallest: $smallest,
            deadline: $deadline,
            watch_days: $watch,
            on: $on,
        },)*];
    };
}

/// One size for all.
const ANY: [(f64, f64); 3] = [(1.0, 1.0); 3];

kinds! {
    "input_dead" "-" ANY, 1.0, LightMinutes(15.0), 4, Input;
    "string_open" "share of the strings" [(0.125, 0.26), (0.27, 0.5), (0.51, 0.9)], 0.125, LightMinutes(30.0), 6, Input;
    "section_lost" "sections of 60" [(1.0, 1.5), (1.5, 3.5), (3.5, 10.0)], 1.0, ClearDays(3), 20, Input;
    "resistance_high" "ohm" [(0.5, 1.0), (1.0, 3.0), (3.0, 8.0)], 0.5, ClearDays(5), 25, Input;
    "current_low" "share of the current" [(0.04, 0.06), (0.06, 0.12), (0.12, 0.3)], 0.04, ClearDays(3), 20, Input;
    "shade" "share of the beam, for 30 min or more" [(0.1, 0.2), (0.2, 0.4), (0.4, 0.8)], 0.1, ClearDays(5), 25, Input;
    "soiling" "share of the light" [(0.03, 0.05), (0.05, 0.1), (0.1, 0.2)], 0.03, Days(14), 30, Device;
    "snow" "-" ANY, 1.0, Days(1), 4, Device;
    "tracker_off_peak" "share of the power" [(0.05, 0.08), (0.08, 0.15), (0.15, 0.4)], 0.05, Days(1), 8, Input;
    "inverter_off" "-" ANY, 1.0, Days(1), 4, Device;
    "isolation_low" "limit over resistance" [(1.1, 1.6), (1.6, 4.0), (4.0, 30.0)], 1.0, Days(1), 5, Device;
    "isolation_falling" "decades in 30 days" [(0.15, 0.3), (0.3, 0.6), (0.6, 1.0)], 0.15, Days(7), 21, Device;
    "residual_current_high" "over the limit" [(1.1, 1.4), (1.4, 2.0), (2.0, 4.0)], 1.0, Polls(2), 3, Device;
    "grid_trip" "min" [(10.0, 15.0), (15.0, 30.0), (30.0, 120.0)], 10.0, LightMinutes(20.0), 2, Device;
    "grid_trips_repeated" "in 7 days" [(3.0, 3.0), (4.0, 5.0), (6.0, 7.0)], 3.0, Days(7), 12, Device;
    "grid_voltage_high" "rise by the own export" [(0.02, 0.025), (0.025, 0.035), (0.035, 0.05)], 0.02, Days(7), 14, Device;
    "supply_resistance_high" "more than it was" [(0.3, 0.6), (0.6, 1.0), (1.0, 3.0)], 0.3, Days(7), 21, Device;
    "protection_acted" "-" ANY, 1.0, Polls(2), 2, Device;
    "limited" "share held back" [(0.2, 0.35), (0.35, 0.5), (0.5, 0.7)], 0.01, Days(1), 3, Device;
    "efficiency_low" "share of the power" [(0.015, 0.025), (0.025, 0.05), (0.05, 0.1)], 0.015, Days(7), 20, Device;
    "link_lost" "h of light" [(0.5, 1.0), (1.0, 4.0), (4.0, 12.0)], 0.0, LightMinutes(30.0), 3, Device;
    "value_frozen" "h" [(2.0, 6.0), (6.0, 24.0), (24.0, 96.0)], 0.0, Days(1), 6, Device;
    "value_impossible" "h" [(1.0, 6.0), (6.0, 24.0), (24.0, 96.0)], 0.0, Days(1), 6, Device;
    "clock_off" "min" [(8.0, 15.0), (30.0, 30.0), (60.0, 60.0)], 4.0, Days(3), 12, Device;
    "sensor_wrong" "gain beside true" [(0.08, 0.12), (0.12, 0.2), (0.2, 0.5)], 0.08, Days(3), 15, Device;
    "inputs_swapped" "-" ANY, 1.0, ClearDays(1), 12, Input;
    "string_count_differs" "strings" ANY, 1.0, ClearDays(1), 12, Input;
    "degradation" "1/yr" [(0.01, 0.015), (0.015, 0.025), (0.025, 0.05)], 0.01, Days(730), 760, Device;
}

impl KindRow {
    /// How often a plant with it is asked, where others are asked as often as `every`: what the export
    /// does to the supply shows from one minute to the next, as devices are asked in the field.
    pub fn polled(&self, every: Span) -> Span {
        match self.name {
            "grid_voltage_high" | "supply_resistance_high" => every.min(Span::from_min(1)),
            _ => every,
        }
    }
}

/// The row of a kind, by its name.
pub fn kind_row(name: &str) -> Option<&'static KindRow> {
    KINDS.iter().find(|row| row.name == name)
}
