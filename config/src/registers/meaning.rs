//! What a number that a device gives is: a measurement, a state or event bits. The same for registers and for
//! messages. Never in here: where the number stands.

use super::Meaning;
use super::shapes::{BitTable, Given, StateTable};
use crate::problem::{Fault, Problems};
use crate::table::{At, Found};
use analysis::reading::Quantity;

/// The keys of a table that say it.
pub(crate) struct MeaningKeys<'a> {
    /// The table.
    pub at: &'a At,
    /// Its name.
    pub table: &'static str,
    pub scale: &'a Option<Found<f64>>,
    pub offset: &'a Option<Found<f64>>,
    pub states: &'a Option<Found<Given<StateTable>>>,
    pub bits: &'a Option<Found<Given<BitTable>>>,
}

/// States and event bits come from tables, everything else is a number.
pub(crate) fn meaning(
    keys: &MeaningKeys<'_>,
    quantity: Quantity,
    problems: &mut Problems<'_>,
) -> Option<Meaning> {
    let name = quantity.name();
    let (states, bits) = (quantity == Quantity::State, quantity == Quantity::EventBits);
    let mut right = table_belongs(keys, ("states", states, name), keys.states, problems);
    right &= table_belongs(keys, ("bits", bits, name), keys.bits, problems);
    if states || bits {
        // A default stands where its table stands.
        let written = |key: &'static str, field: &'_ Option<Found<f64>>| {
            let found = field.as_ref().filter(|found| found.span != keys.at.span)?;
            Some((key, found.value, found.span.clone()))
        };
        let written = [written("scale", keys.scale), written("offset", keys.offset)];
        for (key, number, span) in written.into_iter().flatten() {
            let wanted = format!("no such key with channel = {name:?}");
            let (path, text) = (keys.at.key(key), number.to_string());
            problems.add(Fault::Contradiction, &span, path, text, wanted);
            right = false;
        }
    }
    if !right {
        return None;
    }
    if states {
        let table = keys.states.as_ref()?.value.0.as_ref()?;
        return Some(Meaning::States(table.0.clone()));
    }
    if bits {
        let table = keys.bits.as_ref()?.value.0.as_ref()?;
        return Some(Meaning::Bits(table.0.clone()));
    }
    let scale = keys.scale.as_ref()?;
    if scale.value == 0.0 {
        let (path, wanted) = (keys.at.key("scale"), "a number other than 0");
        problems.add(Fault::OutOfRange, &scale.span, path, "0", wanted);
        return None;
    }
    let (scale, offset) = (scale.value, keys.offset.as_ref()?.value);
    Some(Meaning::Number { scale, offset })
}

/// Whether a table is there where the channel wants it, and nowhere else.
fn table_belongs<T>(
    keys: &MeaningKeys<'_>,
    (key, is_wanted, channel): (&str, bool, &str),
    field: &Option<Found<T>>,
    problems: &mut Problems<'_>,
) -> bool {
    let (at, table) = (keys.at, keys.table);
    match (field, is_wanted) {
        (Some(_), true) | (None, false) => true,
        (None, true) => {
            let wanted = format!("[{table}.{key}], since channel = {channel:?}");
            let path = at.key(key);
            problems.add(Fault::MissingKey, &at.span, path, "no such key", wanted);
            false
        }
        (Some(field), false) => {
            let wanted = format!("no such table with channel = {channel:?}");
            let path = at.key(key);
            problems.add(Fault::Contradiction, &field.span, path, "a table", wanted);
            false
        }
    }
}
