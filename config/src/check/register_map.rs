//! The register map of a source: the file that `map` names, and how it goes with the source.
//! Never in here: what stands in a map (`crate::registers`).

use super::value;
use crate::checked::RegisterMap;
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::registers::{DeviceMap, parse_map};
use crate::table::Table;
use analysis::reading::Span;
use std::path::Path;
use std::sync::Arc;

/// Reads the map; whatever is wrong with it is reported, there and at the key that names it.
pub(super) fn register_map(
    raw: &raw::Source,
    every: Option<Span>,
    beside: &Path,
    problems: &mut Problems<'_>,
) -> Option<RegisterMap> {
    let name = raw.map.as_ref()?;
    match value(&raw.kind)?.as_str() {
        "mqtt" => return Some(RegisterMap::None),
        _ if name.value == "sunspec" => return Some(RegisterMap::SunSpec),
        _ => {}
    }
    let (file, path) = (beside.join(&name.value), raw.at().key("map"));
    let wanted = "sunspec, or a register-map file, its path from the site file";
    let text = match std::fs::read_to_string(&file) {
        Ok(text) => text,
        Err(error) => {
            let found = format!("text {:?}, which cannot be read: {error}", name.value);
            problems.add(Fault::UnknownName, &name.span, path, found, wanted);
            return None;
        }
    };
    let map = match parse_map(&file.display().to_string(), &text) {
        Ok(map) => Arc::new(map),
        Err(errors) => {
            let count = errors.problems().len();
            let found = format!("text {:?}, a file with {count} problem(s)", name.value);
            problems.add(
                Fault::Contradiction,
                &name.span,
                path,
                found,
                "a right register map",
            );
            problems.add_map(errors);
            return None;
        }
    };
    let rates_fit = rates_fit(raw, &map, every?, problems);
    rates_fit.then_some(RegisterMap::File { path: file, map })
}

/// A register is read at every so-many-th poll.
fn rates_fit(raw: &raw::Source, map: &DeviceMap, every: Span, problems: &mut Problems<'_>) -> bool {
    let is_between = |own: Span| own.ms() % every.ms().max(1) != 0;
    let rates = map
        .registers
        .iter()
        .map(|register| (register, register.every));
    let odd = rates.filter(|(_, own)| own.is_some_and(is_between));
    let odd: Vec<String> = odd
        .map(|(register, own)| {
            let own_s = own.unwrap_or(every).seconds();
            format!("{} every {own_s} s", register.channel())
        })
        .collect();
    let Some(found) = raw.every_s.as_ref().filter(|_| !odd.is_empty()) else {
        return true;
    };
    let wanted = format!(
        "a divisor of what the register map says: {}",
        odd.join(", ")
    );
    let (path, text) = (raw.at().key("every_s"), format!("{} s", found.value));
    problems.add(Fault::Contradiction, &found.span, path, text, wanted);
    false
}
