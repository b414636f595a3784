//! `[[module]]` and `[[plane]]`, and the names by which strings refer to them.

use super::order::below;
use super::value;
use crate::problem::{Fault, Problems};
use crate::raw;
use crate::shape::Name;
use crate::table::Table;
use crate::table::{At, Found, near};
use analysis::array::{FitError, fit_datasheet};
use analysis::plant::{Ageing, Corner, Horizon, HorizonError, Module, Plane};
use analysis::reading::{Angle, Current, Voltage};
use std::collections::BTreeMap;

/// Names and the index each stands for.
#[derive(Debug, Default)]
pub(super) struct Ids(BTreeMap<String, usize>);

impl Ids {
    pub(super) fn index(&self, id: &str) -> Option<usize> {
        self.0.get(id).copied()
    }

    /// For a message: the nearest name, or all.
    pub(super) fn near(&self, id: &str) -> String {
        near(id, self.0.keys().map(String::as_str))
    }

    /// Takes a name; one that is there already is reported.
    pub(super) fn add(
        &mut self,
        id: &Option<Found<Name>>,
        at: &At,
        index: usize,
        problems: &mut Problems<'_>,
    ) {
        let Some(id) = id else { return };
        if self.0.contains_key(&id.value.0) {
            let found = format!("text {:?} a second time", id.value.0);
            let path = at.key("id");
            problems.add(Fault::Duplicate, &id.span, path, found, "a name of its own");
        } else {
            self.0.insert(id.value.0.clone(), index);
        }
    }
}

/// Tables of one sort: their names, and their checked values unless something was reported.
pub(super) struct Read<T> {
    pub(super) ids: Ids,
    pub(super) checked: Option<Vec<T>>,
}

pub(super) fn modules(tables: &[raw::Module], problems: &mut Problems<'_>) -> Read<Module> {
    let mut ids = Ids::default();
    for (index, raw) in tables.iter().enumerate() {
        ids.add(&raw.id, raw.at(), index, problems);
        relate(raw, problems);
    }
    let checked: Option<Vec<Module>> = tables.iter().map(module).collect();
    for (raw, module) in tables.iter().zip(checked.iter().flatten()) {
        has_a_curve(raw, module, problems);
    }
    Read { ids, checked }
}

/// What no later step can compute with is told here, with its line; values out of order have been.
fn has_a_curve(raw: &raw::Module, module: &Module, problems: &mut Problems<'_>) {
    let error = fit_datasheet(module).err();
    if let Some(error) = error.filter(|e| !matches!(e, FitError::Order { .. })) {
        let found = error.to_string();
        let found = found.strip_prefix("found ").unwrap_or(&found);
        let at = raw.at();
        let wanted = "values of one datasheet at 1000 W/m2 and 25 degC";
        problems.add(Fault::Contradiction, &at.span, &at.path, found, wanted);
    }
}

/// Open-circuit voltage per cell [V]: from old thin film to triple junctions (common practice).
/// Half-cut cells that were all counted as in series fall below it.
const CELL_VOC_V: (f64, f64) = (0.45, 2.6);
/// Fill factor (common practice): 0.55 is old thin film, 0.88 above any module made.
const FILL_FACTOR: (f64, f64) = (0.50, 0.88);

fn relate(raw: &raw::Module, problems: &mut Problems<'_>) {
    let before = ("vmp_v", &raw.vmp_v, "V");
    below(raw.at(), before, ("voc_v", &raw.voc_v, "V"), problems);
    below(
        raw.at(),
        ("imp_a", &raw.imp_a, "A"),
        ("isc_a", &raw.isc_a, "A"),
        problems,
    );
    voltage_per_cell(raw, problems);
    fill_factor(raw, problems);
    let sections = raw.bypass_sections.as_ref();
    if let Some((sections, cells)) = sections.zip(raw.cells_in_series.as_ref())
        && sections.value > cells.value
    {
        let path = raw.at().key("bypass_sections");
        let wanted = format!("at most cells_in_series = {}", cells.value);
        let found = sections.value.to_string();
        problems.add(Fault::Contradiction, &sections.span, path, found, wanted);
    }
}

fn voltage_per_cell(raw: &raw::Module, problems: &mut Problems<'_>) {
    let Some((cells, voc)) = raw.cells_in_series.as_ref().zip(raw.voc_v.as_ref()) else {
        return;
    };
    let per_cell = voc.value / f64::from(cells.value);
    let (low, high) = CELL_VOC_V;
    if !(low..=high).contains(&per_cell) {
        let path = raw.at().key("cells_in_series");
        let found = format!(
            "{}, which makes voc_v {per_cell:.3} V per cell",
            cells.value
        );
        let wanted = format!(
            "{low} to {high} V per cell; half-cut cells count half, since two halves are parallel"
        );
        problems.add(Fault::Contradiction, &cells.span, path, found, wanted);
    }
}

fn fill_factor(raw: &raw::Module, problems: &mut Problems<'_>) {
    let (Some(voc), Some(isc)) = (value(&raw.voc_v), value(&raw.isc_a)) else {
        return;
    };
    let (Some(vmp), Some(imp)) = (&raw.vmp_v, value(&raw.imp_a)) else {
        return;
    };
    let ratio = vmp.value * imp / (voc * isc);
    let (low, high) = FILL_FACTOR;
    // Where one of them is not below its limit, that is the message.
    if vmp.value < *voc && imp < isc && !(low..=high).contains(&ratio) {
        let found = format!("{} V, which makes a fill factor of {ratio:.3}", vmp.value);
        let wanted = format!("vmp_v imp_a / (voc_v isc_a) from {low} to {high}");
        problems.add(
            Fault::Contradiction,
            &vmp.span,
            raw.at().key("vmp_v"),
            found,
            wanted,
        );
    }
}

fn module(raw: &raw::Module) -> Option<Module> {
    Some(Module {
        id: value(&raw.id)?.0.clone(),
        voc: Voltage::from_v(*value(&raw.voc_v)?),
        isc: Current::from_a(*value(&raw.isc_a)?),
        vmp: Voltage::from_v(*value(&raw.vmp_v)?),
        imp: Current::from_a(*value(&raw.imp_a)?),
        cells_in_series: *value(&raw.cells_in_series)? as u16,
        bypass_sections: *value(&raw.bypass_sections)? as u8,
        isc_temp_ratio_per_k: *value(&raw.isc_temp_ratio_per_k)?,
        voc_temp_ratio_per_k: *value(&raw.voc_temp_ratio_per_k)?,
        pmax_temp_ratio_per_k: *value(&raw.pmax_temp_ratio_per_k)?,
        power_tolerance_ratio: *value(&raw.power_tolerance_ratio)?,
        ageing: Ageing {
            first_year_loss_ratio: *value(&raw.first_year_loss_ratio)?,
            yearly_loss_ratio: *value(&raw.yearly_loss_ratio)?,
        },
    })
}

pub(super) fn planes(tables: &[raw::Plane], problems: &mut Problems<'_>) -> Read<Plane> {
    let mut ids = Ids::default();
    for (index, raw) in tables.iter().enumerate() {
        ids.add(&raw.id, raw.at(), index, problems);
    }
    // Each plane is read, so that the problems of all are reported.
    let checked: Vec<Option<Plane>> = tables.iter().map(|raw| plane(raw, problems)).collect();
    let checked = checked.into_iter().collect();
    Read { ids, checked }
}

fn plane(raw: &raw::Plane, problems: &mut Problems<'_>) -> Option<Plane> {
    let horizon = horizon(raw, problems);
    Some(Plane {
        id: value(&raw.id)?.0.clone(),
        tilt: Angle::from_deg(*value(&raw.tilt_deg)?),
        // 360 is north as well.
        azimuth: Angle::from_deg(value(&raw.azimuth_deg)?.rem_euclid(360.0)),
        mounting: crate::mounting::mounting(value(&raw.mounting)?)?,
        albedo_ratio: *value(&raw.albedo_ratio)?,
        horizon: horizon?,
    })
}

/// The horizon, if the file has one; `None` where something was reported.
fn horizon(raw: &raw::Plane, problems: &mut Problems<'_>) -> Option<Option<Horizon>> {
    let Some(found) = &raw.horizon else {
        return Some(None);
    };
    let corner = |raw: &raw::Corner| {
        Some(Corner {
            azimuth: Angle::from_deg(*value(&raw.azimuth_deg)?),
            elevation: Angle::from_deg(*value(&raw.elevation_deg)?),
        })
    };
    let corners = found.value.iter().map(corner).collect::<Option<Vec<_>>>()?;
    let error = match Horizon::new(corners) {
        Ok(horizon) => return Some(Some(horizon)),
        Err(error) => error,
    };
    let (text, wanted) = match error {
        HorizonError::Order {
            first_deg,
            then_deg,
        } => (
            format!("an azimuth of {then_deg} deg after {first_deg} deg"),
            "azimuths that rise from corner to corner",
        ),
        // Each angle has been checked with its key.
        error => (error.to_string(), "at least one corner, or no horizon"),
    };
    let path = raw.at().key("horizon");
    problems.add(Fault::Contradiction, &found.span, path, text, wanted);
    None
}
