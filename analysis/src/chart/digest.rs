//! Few slots that stand for many: of each day the one that says most of every line, and the least and
//! greatest values. Where a day is one point of the picture, it is the picture of all slots, and a
//! year of many inverters need not be in memory.

use super::period::TimeAxis;
use super::series::{Source, by_day};
use super::style::{GUTTER, MARGIN};
use super::{ChartError, Size, SummaryInput, check, gates};
use crate::detect::{Gate, InputSlot, InverterSlot, PlaneSlot, Slot};
use crate::reading::{Current, Power, Span, Time, Voltage};

/// Whether the summary of a period shows a day as one point.
pub fn shows_days(period: (Time, Time), size: Size, utc_offset: &dyn Fn(Time) -> Span) -> bool {
    let right = f64::from(size.width_px) - MARGIN;
    let axis = TimeAxis::over(period, MARGIN + GUTTER, right, utc_offset);
    by_day(&axis)
}

/// What a picture is drawn from: the slots themselves, or their digest where it shows days.
pub(super) struct Drawn(Option<Vec<Slot>>);

/// The digest of a picture that shows days, so that one of all slots and one of their digest are the
/// same.
///
/// # Errors
/// If the input is none that can be drawn.
pub(super) fn of(input: &SummaryInput, size: Size) -> Result<Drawn, ChartError> {
    check::input(input, size)?;
    let (Some(first), Some(last)) = (input.slots.first(), input.slots.last()) else {
        return Ok(Drawn(None));
    };
    let period = (first.start, last.start + last.span);
    if !shows_days(period, size, input.utc_offset) {
        return Ok(Drawn(None));
    }
    // One offset for the whole period, as the lines have it.
    let offset = (input.utc_offset)(first.start);
    let mut digest = Digest::default();
    for slot in input.slots {
        let local = (slot.start + offset).unix_ms();
        digest.add(slot, local.div_euclid(Span::from_h(24).ms()));
    }
    Ok(Drawn(Some(digest.finish())))
}

impl Drawn {
    /// The same picture of these slots.
    pub(super) fn shown<'a>(&'a self, input: &SummaryInput<'a>) -> SummaryInput<'a> {
        SummaryInput {
            slots: self.0.as_deref().unwrap_or(input.slots),
            ..*input
        }
    }
}

/// The digest of slots as they go by.
#[derive(Debug, Default)]
pub struct Digest {
    done: Vec<Slot>,
    open: Option<Open>,
}

/// The day that is being read.
#[derive(Debug)]
struct Open {
    day: i64,
    starts: Vec<Time>,
    best: Slot,
    least: Slot,
    most: Slot,
    /// By inverter and input.
    gates: Vec<Vec<Vec<Gate>>>,
}

impl Digest {
    /// Takes the next slot in order of time; `day` is the date at the site.
    pub fn add(&mut self, slot: &Slot, day: i64) {
        match &mut self.open {
            Some(open) if open.day == day => open.add(slot),
            _ => {
                self.close();
                self.open = Some(Open::new(slot, day));
            }
        }
    }

    /// At most three slots for each day.
    pub fn finish(mut self) -> Vec<Slot> {
        self.close();
        self.done
    }

    fn close(&mut self) {
        self.done
            .extend(self.open.take().map(Open::closed).into_iter().flatten());
    }
}

impl Open {
    fn new(slot: &Slot, day: i64) -> Self {
        let gates = |inverter: &InverterSlot| {
            let of = |input: &InputSlot| vec![input.gate];
            inverter.inputs.iter().map(of).collect()
        };
        Self {
            day,
            starts: vec![slot.start],
            best: slot.clone(),
            least: slot.clone(),
            most: slot.clone(),
            gates: slot.inverters.iter().map(gates).collect(),
        }
    }

    fn add(&mut self, slot: &Slot) {
        // The first, the second and the last are used.
        if self.starts.len() == 3 {
            self.starts.pop();
        }
        self.starts.push(slot.start);
        for p in 0..slot.planes.len() {
            if is_better(Source::Irradiance(p), slot, &self.best) {
                self.best.planes[p] = slot.planes[p];
            }
            extend(&mut self.least.planes[p], &slot.planes[p], f64::min);
            extend(&mut self.most.planes[p], &slot.planes[p], f64::max);
        }
        for (i, now) in slot.inverters.iter().enumerate() {
            if is_better(Source::Ac(i), slot, &self.best) {
                let best = &mut self.best.inverters[i];
                (best.ac_power, best.expected_ac_power) = (now.ac_power, now.expected_ac_power);
            }
            let watts = |power: Option<Power>| power.map(|p| p.w());
            let (least, most) = (&mut self.least.inverters[i], &mut self.most.inverters[i]);
            least.ac_power =
                one(watts(least.ac_power), watts(now.ac_power), f64::min).map(Power::from_w);
            most.ac_power =
                one(watts(most.ac_power), watts(now.ac_power), f64::max).map(Power::from_w);
            for (k, input) in now.inputs.iter().enumerate() {
                self.gates[i][k].push(input.gate);
                if is_better(Source::Current(i, k), slot, &self.best) {
                    self.best.inverters[i].inputs[k] = *input;
                }
                extend_input(&mut self.least.inverters[i].inputs[k], input, f64::min);
                extend_input(&mut self.most.inverters[i].inputs[k], input, f64::max);
            }
        }
    }

    fn closed(self) -> Vec<Slot> {
        let Self {
            starts,
            mut best,
            mut least,
            mut most,
            gates,
            ..
        } = self;
        for (i, of_inverter) in gates.into_iter().enumerate() {
            for (k, gates) in of_inverter.into_iter().enumerate() {
                best.inverters[i].inputs[k].gate = gates::most_telling(gates.into_iter());
                for end in [&mut least, &mut most] {
                    let input = &mut end.inverters[i].inputs[k];
                    (input.gate, input.expected) = (Gate::Dark, None);
                }
            }
        }
        for end in [&mut least, &mut most] {
            for inverter in &mut end.inverters {
                inverter.expected_ac_power = None;
            }
        }
        let slots = starts.into_iter().zip([best, least, most]);
        slots.map(|(start, slot)| Slot { start, ..slot }).collect()
    }
}

fn is_better(source: Source, slot: &Slot, than: &Slot) -> bool {
    super::series::says_more(&source.sample(slot), &source.sample(than)).is_gt()
}

fn one(a: Option<f64>, b: Option<f64>, pick: fn(f64, f64) -> f64) -> Option<f64> {
    match (a, b) {
        (Some(a), Some(b)) => Some(pick(a, b)),
        (a, b) => a.or(b),
    }
}

fn extend(end: &mut PlaneSlot, now: &PlaneSlot, pick: fn(f64, f64) -> f64) {
    let light = |plane: &PlaneSlot| plane.poa.map(|(poa, _)| poa.w_m2());
    if one(light(end), light(now), pick) != light(end) {
        end.poa = now.poa;
    }
}

fn extend_input(end: &mut InputSlot, now: &InputSlot, pick: fn(f64, f64) -> f64) {
    let volts = |input: &InputSlot| input.voltage.map(|v| v.v());
    let amps = |input: &InputSlot| input.current.map(|i| i.a());
    end.voltage = one(volts(end), volts(now), pick).map(Voltage::from_v);
    end.current = one(amps(end), amps(now), pick).map(Current::from_a);
}
