//! `[store]`: how long what is kept.

use super::value;
use crate::checked::Keep;
use crate::problem::{Fault, Problems};
use crate::raw::{KEEP_MINUTES_DAYS, KEEP_READINGS_DAYS, Store};
use crate::table::{Found, Table};
use analysis::reading::Span;

/// The defaults where there is no such table. Minutes are made of readings, so that they last as
/// long at least: what is read of a day is the finest that there is.
pub(super) fn keep(store: &Option<Found<Store>>, problems: &mut Problems<'_>) -> Option<Keep> {
    let (readings, minutes) = match value(store) {
        None => (KEEP_READINGS_DAYS as u32, KEEP_MINUTES_DAYS as u32),
        Some(store) => {
            let readings = *value(&store.keep_readings_days)?;
            let field = store.keep_minutes_days.as_ref()?;
            if field.value < readings {
                let found = format!("{}", field.value);
                let wanted = format!("at least keep_readings_days, {readings}");
                let key = store.at().key("keep_minutes_days");
                problems.add(Fault::Contradiction, &field.span, &key, found, wanted);
                return None;
            }
            (readings, field.value)
        }
    };
    let days = |days: u32| Span::from_h(24 * i64::from(days));
    Some(Keep {
        readings: days(readings),
        minutes: days(minutes),
    })
}
