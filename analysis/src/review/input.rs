//! The days of one input: medians of what was measured over what was expected, how much of the day
//! could be tested, and what was missing.

use super::cloud::Cloud;
use crate::array::Limit;
use crate::detect::{Gate, InputSlot, Slot};
use crate::diagnose::Finding;
use crate::plant::{Input, Inverter};
use crate::reading::{Irradiance, Power, Time, median};

/// Fewer tested slots make no median of a day.
const LEAST_TESTED: usize = 3;

/// One day of an input, by the date at the site.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputDay {
    /// Days from 1970-01-01.
    pub number: i64,
    /// Middle of its tested slots, or of all.
    pub middle: Time,
    /// Median of current over expected current in tested slots [-].
    pub current_ratio: Option<f64>,
    /// Median of voltage over expected voltage in tested slots [-].
    pub voltage_ratio: Option<f64>,
    /// Slots with light enough.
    pub lit: usize,
    /// Slots of these in which the light was steady, tested or held back.
    pub steady: usize,
    /// Expected at the peak [Wh], DC.
    pub expected_wh: f64,
    /// Missing of that while no limit held the input back [Wh].
    pub missing_wh: f64,
}

/// The day that is being added up.
#[derive(Debug, Clone)]
struct Open {
    number: i64,
    first: Time,
    last: Time,
    tested: Vec<(Time, f64, f64)>,
    lit: usize,
    steady: usize,
    expected_wh: f64,
    missing_wh: f64,
}

/// One input over the period.
#[derive(Debug, Clone)]
pub struct InputReview {
    /// Index of its plane.
    pub plane: usize,
    /// When findings stood on it in the period.
    pub findings: Vec<(Time, Time)>,
    /// In order of time.
    pub days: Vec<InputDay>,
    /// Where it worked.
    pub cloud: Cloud,
    open: Option<Open>,
}

impl InputReview {
    pub(super) fn new(
        inverter: &Inverter,
        input: &Input,
        findings: &[Finding],
        (from, to): (Time, Time),
    ) -> Self {
        let own = findings.iter().filter(|f| {
            f.subject.device == inverter.id
                && f.subject.input == Some(input.number)
                && f.began < to
                && f.ended.is_none_or(|ended| ended > from)
        });
        let span = |f: &Finding| (f.began.max(from), f.ended.unwrap_or(to).min(to));
        Self {
            plane: input.plane(),
            findings: own.map(span).collect(),
            days: Vec::new(),
            cloud: Cloud::default(),
            open: None,
        }
    }

    pub(super) fn add(
        &mut self,
        slot: &Slot,
        day: i64,
        of_inverter: Option<Limit>,
        now: &InputSlot,
        poa: Option<Irradiance>,
    ) {
        if self.open.as_ref().is_some_and(|open| open.number != day) {
            self.close_day();
        }
        if matches!(now.gate, Gate::Dark | Gate::NoWeather) {
            return;
        }
        let middle = slot.start + slot.span.half();
        let open = self.open.get_or_insert_with(|| Open::new(day, middle));
        open.last = middle;
        open.lit += 1;
        open.steady += usize::from(now.gate != Gate::Unsteady);
        let Some(expected) = now.expected else {
            return;
        };
        let peak = expected.voltage * expected.current;
        open.expected_wh += (peak * slot.span).wh();
        let (Some(voltage), Some(current)) = (now.voltage, now.current) else {
            return;
        };
        if !now.is_held_back(of_inverter) {
            let missing = Power::from_w((peak.w() - (voltage * current).w()).max(0.0));
            open.missing_wh += (missing * slot.span).wh();
        }
        let Some((voltage_ratio, current_ratio)) = now.on_curve() else {
            return;
        };
        let is_tested = now.gate == Gate::Valid;
        if is_tested {
            open.tested.push((middle, current_ratio, voltage_ratio));
        }
        let in_finding = self
            .findings
            .iter()
            .any(|(began, ended)| *began <= middle && middle < *ended);
        let tested_light = poa.filter(|_| is_tested);
        self.cloud
            .add(voltage_ratio, current_ratio, in_finding, tested_light);
    }

    pub(super) fn close_day(&mut self) {
        self.days.extend(self.open.take().map(Open::closed));
    }
}

impl Open {
    fn new(number: i64, first: Time) -> Self {
        Self {
            number,
            first,
            last: first,
            tested: Vec::new(),
            lit: 0,
            steady: 0,
            expected_wh: 0.0,
            missing_wh: 0.0,
        }
    }

    fn closed(self) -> InputDay {
        let is_enough = self.tested.len() >= LEAST_TESTED;
        let of = |ratio: fn(&(Time, f64, f64)) -> f64| {
            median(self.tested.iter().map(ratio)).filter(|_| is_enough)
        };
        let (first, last) = match (self.tested.first(), self.tested.last()) {
            (Some(first), Some(last)) => (first.0, last.0),
            _ => (self.first, self.last),
        };
        InputDay {
            number: self.number,
            middle: first + (last - first).half(),
            current_ratio: of(|t| t.1),
            voltage_ratio: of(|t| t.2),
            lit: self.lit,
            steady: self.steady,
            expected_wh: self.expected_wh,
            missing_wh: self.missing_wh,
        }
    }
}
