//! Figures of performance from sums.
//!
//! Model:   Y_r = H / G_ref, Y_a = E_dc / P_0, Y_f = E_ac / P_0                             eq. (1)
//!          L_c = Y_r - Y_a, L_s = Y_a - Y_f, PR = Y_f / Y_r                                eq. (2)
//!          PR_25 = sum P tau / sum C P_0 G / G_ref tau, C = 1 + gamma (T - 25)             eq. (3)
//!          index = E_ac / E_expected                                                       eq. (4)
//!          availability: time at work over time in enough light; E / (E + E_lost)          eq. (5)
//! Symbols: yields and losses [h], H in-plane irradiation [Wh/m2], G_ref 1000 W/m2, P_0 rated power
//!          of the modules [W], E [Wh], tau length of a slot [h], gamma of the module [1/K], T cell
//!          temperature [degC]; over several planes G is the mean weighted by P_0.
//! Range:   slots with the sun up. Each figure rests on the slots in which all that it needs was
//!          measured, and is none where these hold less than `LEAST_COVER_RATIO` of the light. What
//!          needs the light takes no light that is worked out from the plant itself. A yield is the
//!          sum of what was measured: nothing is filled in, so with cover c it is about 1 - c low.
//! Source:  IEC 61724-1:2021 (formulas from memory, verify); there T is the module's temperature,
//!          and here the cells'. Availability by whether the inverter is connected, whatever the
//!          reason, the supply included (after IEC TS 63019:2019, from memory, verify); one that a
//!          command holds at nothing counts as at work.
//! Check:   tests/reference/performance.rs; properties in tests/acceptance/engine/performance.rs.

use super::day_sums::DaySums;
use crate::reading::SolarDay;

/// Share of the light that must be covered: IEC 61724-1 flags records that miss more than a tenth
/// (from memory, verify).
pub const LEAST_COVER_RATIO: f64 = 0.9;
/// What adding up some thousand shares may leave of a cover that is exactly enough [-].
const ROUNDING: f64 = 1e-9;

/// How long the figures reach. Days go from solar midnight to solar midnight, months and years are
/// those of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Period {
    /// One day.
    Day,
    /// A month, as far as there are records.
    Month,
    /// A year, as far as there are records.
    Year,
    /// Everything.
    Whole,
}

impl Period {
    /// Every period.
    pub const ALL: [Period; 4] = [Period::Day, Period::Month, Period::Year, Period::Whole];

    /// Its name in files.
    pub const fn name(self) -> &'static str {
        match self {
            Period::Day => "day",
            Period::Month => "month",
            Period::Year => "year",
            Period::Whole => "whole",
        }
    }
}

/// The figures of an inverter or of the site in a period.
#[derive(Debug, Clone, PartialEq)]
pub struct Figures {
    /// How long.
    pub period: Period,
    /// Its first day with records, or between such.
    pub first: SolarDay,
    /// Its last.
    pub last: SolarDay,
    /// Index of the inverter in the plant; `None` for the site.
    pub inverter: Option<usize>,
    /// Rated power of the modules [W].
    pub rated_w: f64,
    /// Share of the light with AC power measured [-]; `None` where the sun does not rise.
    pub output_cover_ratio: Option<f64>,
    /// Share of the light with AC power and the light itself measured [-].
    pub light_cover_ratio: Option<f64>,
    /// Share of the light with the DC side and the light itself measured [-].
    pub array_cover_ratio: Option<f64>,
    /// Delivered, of what was measured [Wh].
    pub output_wh: Option<f64>,
    /// Y_r [h].
    pub reference_yield_h: Option<f64>,
    /// Y_a [h].
    pub array_yield_h: Option<f64>,
    /// Y_f [h].
    pub final_yield_h: Option<f64>,
    /// L_c [h].
    pub capture_loss_h: Option<f64>,
    /// L_s [h].
    pub system_loss_h: Option<f64>,
    /// PR [-].
    pub performance_ratio: Option<f64>,
    /// PR at 25 degC [-].
    pub performance_ratio_25: Option<f64>,
    /// Measured over expected [-], whatever rung the light came from.
    pub performance_index: Option<f64>,
    /// By time [-].
    pub availability_time_ratio: Option<f64>,
    /// By energy [-].
    pub availability_energy_ratio: Option<f64>,
}

impl Figures {
    pub(super) fn of(
        period: Period,
        (first, last): (SolarDay, SolarDay),
        inverter: Option<usize>,
        s: &DaySums,
    ) -> Self {
        let cover = |light_wh: f64| quotient(light_wh, s.light_wh);
        let enough = |light_wh: f64| {
            cover(light_wh).is_some_and(|cover| cover >= LEAST_COVER_RATIO - ROUNDING)
        };
        let with = |light_wh: f64, value: Option<f64>| value.filter(|_| enough(light_wh));
        let hours = |wh: f64| quotient(wh, s.rated_w); // eq. (1)
        let array = |wh: f64| with(s.array_light_wh, hours(wh));
        let joint = |value| with(s.joint_light_wh, value);
        let at_work = quotient(s.at_work_wh, s.told_wh);
        let possible_wh = s.told_output_wh + s.outage_wh;
        Self {
            period,
            first,
            last,
            inverter,
            rated_w: s.rated_w,
            output_cover_ratio: cover(s.output_light_wh),
            light_cover_ratio: cover(s.joint_light_wh),
            array_cover_ratio: cover(s.array_light_wh),
            output_wh: with(s.output_light_wh, Some(s.output_wh)),
            reference_yield_h: joint(hours(s.reference_wh)),
            array_yield_h: array(s.array_wh),
            final_yield_h: with(s.output_light_wh, hours(s.output_wh)),
            capture_loss_h: array(s.array_reference_wh - s.array_wh), // eq. (2)
            system_loss_h: with(s.system_light_wh, hours(s.system_loss_wh)),
            performance_ratio: joint(quotient(s.joint_output_wh, s.reference_wh)),
            performance_ratio_25: joint(quotient(s.joint_output_wh, s.reference_at_cell_wh)), // (3)
            performance_index: with(
                s.model_light_wh,
                quotient(s.model_output_wh, s.expected_wh), // eq. (4)
            ),
            availability_time_ratio: with(s.told_light_wh, at_work), // eq. (5)
            availability_energy_ratio: with(
                s.told_light_wh,
                quotient(s.told_output_wh, possible_wh),
            ),
        }
    }
}

/// `None` for a divisor that is not positive.
fn quotient(dividend: f64, divisor: f64) -> Option<f64> {
    (divisor > 0.0).then(|| dividend / divisor)
}
