//! From the registers of a model to values at their places.
//!
//! Input n is the n-th block, and where blocks say what they are (model 714), the n-th that is for modules.
//! Model:   value = raw * 10^(scale + shift), raw and scale from one read
//! Symbols: scale  exponent in the device [-]
//!          shift  exponent from the standard's unit to ours [-]
//! Range:   an image of any length and content; what is absent is [`Value::Missing`].
//! Source:  SunSpec Device Information Model Specification; `points.csv`.
//! Check:   hand-built images and round trips in `decode_tests.rs`.
//!
//! Never in here: input or output.

use super::alarms::event_bits;
use super::encoding::Encoding;
use super::table::{Layout, Point, ReadAs, Scale, layout};
use analysis::plant::State;
use analysis::reading::{Quantity, Scope, Value};

/// Where on a device a value belongs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Spot {
    /// The device as a whole.
    Device,
    /// All MPPT inputs together: sum of currents and powers, one voltage.
    AllInputs,
    /// One MPPT input, from 1 in the order of the device's blocks.
    Input(u8),
}

/// A value at its place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Decoded {
    /// The model that it comes from.
    pub model: u16,
    /// Where it belongs.
    pub spot: Spot,
    /// What it is.
    pub quantity: Quantity,
    /// The value, or that the device has none.
    pub value: Value,
    /// Whether it is an alarm of single inputs, to be joined with those of the device.
    pub is_alarm_of_input: bool,
}

impl Decoded {
    /// What it is, and where: of each device one value at most.
    pub fn place(&self) -> (Spot, Quantity) {
        (self.spot, self.quantity)
    }
}

/// Models in the order in which they are believed where two give the same quantity: inputs before
/// their sum, the newer AC model before the older ones, whole stations before the small one.
const BELIEVED_FIRST: [u16; 16] = [
    160, 714, 701, 103, 102, 101, 113, 112, 111, 122, 123, 703, 302, 303, 307, 308,
];
/// A block of modules, in the point that says what it is for.
const PORT_OF_MODULES: f64 = 0.0;

/// Everything that we have a channel for in the image of a model. The image begins at the id
/// register; points behind its end are left out.
pub fn decode(model: u16, image: &[u16]) -> Vec<Decoded> {
    let Some(layout) = layout(model) else {
        return Vec::new();
    };
    let blocks: Vec<&[u16]> = blocks(layout, image);
    let of_modules = |block: &&&[u16]| is_of_modules(layout, block);
    let inputs: Vec<&[u16]> = blocks.iter().filter(of_modules).copied().collect();
    // A sum with a battery in it is none of inputs.
    let is_sum_of_inputs = inputs.len() == blocks.len();
    let mut values = Vec::new();
    let fixed = Place::Fixed { is_sum_of_inputs };
    part(model, layout, fixed, image, image, &mut values);
    for (number, block) in (1..).zip(inputs) {
        part(
            model,
            layout,
            Place::Block(number),
            image,
            block,
            &mut values,
        );
    }
    values
}

/// One value for each place and quantity, in their order: a good one before a bad one, then the model
/// that is believed first, then the first block. An alarm of an input is also one of its device.
pub fn best(values: Vec<Decoded>) -> Vec<Decoded> {
    let believed = |value: &Decoded| BELIEVED_FIRST.iter().position(|m| *m == value.model);
    let bad = |value: &Decoded| match value.value {
        Value::Good(_) => 0,
        Value::OutOfRange(_) => 1,
        Value::Missing | Value::Faulty(_) => 2,
    };
    let worse = |value: &Decoded| (bad(value), believed(value));
    let (mut best, alarms): (Vec<_>, Vec<_>) = values
        .into_iter()
        .partition(|value| !value.is_alarm_of_input);
    best.sort_by(|a, b| {
        let by_place = a.place().cmp(&b.place());
        by_place.then_with(|| worse(a).cmp(&worse(b)))
    });
    best.dedup_by_key(|value| value.place());
    for alarm in alarms {
        match best.binary_search_by_key(&alarm.place(), Decoded::place) {
            Ok(known) => best[known].value = joined(best[known].value, alarm.value),
            Err(at) => best.insert(at, alarm),
        }
    }
    best
}

fn joined(known: Value, alarm: Value) -> Value {
    match (known, alarm) {
        (Value::Good(known), Value::Good(alarm)) => {
            Value::Good(f64::from(known as u32 | alarm as u32))
        }
        _ => alarm,
    }
}

#[derive(Debug, Clone, Copy)]
enum Place {
    Fixed { is_sum_of_inputs: bool },
    Block(usize),
}

fn part(
    model: u16,
    layout: &Layout,
    place: Place,
    image: &[u16],
    registers: &[u16],
    values: &mut Vec<Decoded>,
) {
    let points = match place {
        Place::Fixed { .. } => &layout.fixed,
        Place::Block(_) => &layout.block,
    };
    for point in points {
        let (Some(quantity), Some(raw)) = (point.quantity, point.slice(registers)) else {
            continue;
        };
        let Some(spot) = spot(quantity, place) else {
            continue;
        };
        let number = point.encoding.number(raw);
        let is_alarm_of_input = point.read_as == ReadAs::InputAlarms;
        // What an input does not implement says nothing of the device.
        if is_alarm_of_input && number.is_none() {
            continue;
        }
        let value = match number {
            Some(number) => value(layout, image, point, quantity, number),
            None => Value::Missing,
        };
        values.push(Decoded {
            model,
            spot,
            quantity,
            value,
            is_alarm_of_input,
        });
    }
}

/// Blocks of sensors are all the device's; blocks of inputs are numbered as far as numbers go.
fn spot(quantity: Quantity, place: Place) -> Option<Spot> {
    match (quantity.scope(), place) {
        (Scope::Input { .. }, Place::Block(number)) => u8::try_from(number).ok().map(Spot::Input),
        (Scope::Input { .. }, Place::Fixed { is_sum_of_inputs }) => {
            is_sum_of_inputs.then_some(Spot::AllInputs)
        }
        (Scope::Inverter | Scope::Weather, _) => Some(Spot::Device),
    }
}

fn value(layout: &Layout, image: &[u16], point: &Point, quantity: Quantity, raw: f64) -> Value {
    let scaled = || scaled(image, point, raw).map_or(Value::Missing, |v| Value::judge(quantity, v));
    match point.read_as {
        ReadAs::Number | ReadAs::Blocks | ReadAs::KindOfPort => scaled(),
        ReadAs::InputAlarms => Value::Good(event_bits(raw)),
        ReadAs::State => state(raw),
        ReadAs::StateFromZero => state(raw + 1.0),
        ReadAs::Limit => match limit_in_force(layout, image) {
            Some(true) => scaled(),
            Some(false) => Value::Good(1.0),
            None => Value::Missing,
        },
    }
}

/// A number that the standard does not know is kept and takes no part.
fn state(number: f64) -> Value {
    match State::from_number(number) {
        Some(_) => Value::Good(number),
        None => Value::OutOfRange(number),
    }
}

fn limit_in_force(layout: &Layout, image: &[u16]) -> Option<bool> {
    let switch = layout.fixed_point("WMaxLim_Ena")?;
    let number = switch.encoding.number(switch.slice(image)?)?;
    Some(number == 1.0)
}

/// In our unit; `None` where the device gives no valid exponent: a needed factor is not guessed.
pub(super) fn scaled(image: &[u16], point: &Point, raw: f64) -> Option<f64> {
    Some(times_ten_to(raw, exponent(image, point)? + point.shift))
}

/// From the number in the registers to the unit of the standard.
pub(super) fn exponent(image: &[u16], point: &Point) -> Option<i32> {
    match point.scale {
        Scale::Fixed(exponent) => Some(exponent),
        Scale::At(offset) => Encoding::exponent(*image.get(offset)?),
    }
}

/// Division by a whole power of ten rounds once; a product with 0.1 would round twice.
pub fn times_ten_to(number: f64, exponent: i32) -> f64 {
    let power = 10f64.powi(exponent.abs());
    if exponent < 0 {
        number / power
    } else {
        number * power
    }
}

/// The blocks that the image holds: no more than the device counts and than its length allows.
pub(super) fn blocks<'a>(layout: &Layout, image: &'a [u16]) -> Vec<&'a [u16]> {
    let by_length = image.get(1).map_or(0, |length| layout.blocks(*length));
    let counted = Layout::read_as(&layout.fixed, ReadAs::Blocks);
    let counted = counted.and_then(|p| p.encoding.number(p.slice(image)?));
    let count = counted.map_or(by_length, |n| by_length.min(n as usize));
    let start = |number| layout.fixed_size() + number * layout.block_size();
    let block = |number| image.get(start(number)..).unwrap_or_default();
    (0..count).map(block).collect()
}

/// A block that does not say what it is for is one of modules.
fn is_of_modules(layout: &Layout, block: &[u16]) -> bool {
    let Some(point) = Layout::read_as(&layout.block, ReadAs::KindOfPort) else {
        return true;
    };
    let kind = point
        .slice(block)
        .and_then(|raw| point.encoding.number(raw));
    kind.is_none_or(|kind| kind == PORT_OF_MODULES)
}

#[cfg(test)]
#[path = "decode_tests.rs"]
mod tests;
