//! How an inverter says that it is set: when it trips, when it connects, how it answers to voltage
//! and frequency (models 702, 703, 705 to 712).
//!
//! Of several stored curves the first is the one in force; what is partly not implemented, has more
//! corners than the image, or no valid exponent, counts as not published.
//! Source:  SunSpec model definition files; `points.csv`. That the first curve is the one in force:
//!          SunSpec DER information models (from memory, verify).
//! Check:   `settings_tests.rs`; tests/acceptance/modbus.rs, against another library's server.
//! Never in here: what becomes of it (`analysis::plant::GridSettings`), input or output.

use super::decode::scaled;
use super::table::{Layout, Point, layout};
use analysis::plant::{Curve, Droop, EnterServiceSettings, GridSettings};

const CAPACITY: u16 = 702;
const ENTER_SERVICE: u16 = 703;
/// Volt-watt in percent of the available power, which is not a line of ours.
const OF_AVAILABLE: f64 = 1.0;

/// Whether a model says how the inverter is set.
pub(super) fn has_settings(model: u16) -> bool {
    let has_curve = layout(model).is_some_and(|layout| !layout.curve.is_empty());
    has_curve || matches!(model, CAPACITY | ENTER_SERVICE)
}

/// What the images of such models say, each with its model's number; each image begins at the id.
pub(super) fn settings<'a>(images: impl IntoIterator<Item = (u16, &'a [u16])>) -> GridSettings {
    let mut settings = GridSettings::default();
    for (model, image) in images {
        let Some(layout) = layout(model) else {
            continue;
        };
        let image = Image { layout, image };
        match model {
            CAPACITY => settings.nominal_v = image.fixed("VNom").or(image.fixed("VNomRtg")),
            ENTER_SERVICE => settings.enter_service = image.enter_service(),
            705 => settings.volt_var = image.curve("V", "Var"),
            706 if image.head("DeptRef") == Some(OF_AVAILABLE) => {}
            706 => settings.volt_watt = image.curve("V", "W"),
            707 => settings.under_voltage = image.curve("V", "Tms"),
            708 => settings.over_voltage = image.curve("V", "Tms"),
            709 => settings.under_frequency = image.curve("Hz", "Tms"),
            710 => settings.over_frequency = image.curve("Hz", "Tms"),
            711 => settings.droop = image.droop(),
            712 => settings.watt_var = image.curve("W", "Var"),
            _ => {}
        }
    }
    settings
}

/// The registers of a model beside its layout.
struct Image<'a> {
    layout: &'static Layout,
    image: &'a [u16],
}

impl Image<'_> {
    fn fixed(&self, name: &str) -> Option<f64> {
        self.number(&self.layout.fixed, name, 0)
    }

    /// In the head of the first curve.
    fn head(&self, name: &str) -> Option<f64> {
        self.number(&self.layout.curve, name, self.layout.fixed_size())
    }

    /// In a corner of the first curve, from 0.
    fn corner(&self, name: &str, index: usize) -> Option<f64> {
        let head = self.layout.fixed_size() + self.layout.curve_size();
        let start = head + index * self.layout.corner_size();
        self.number(&self.layout.corner, name, start)
    }

    fn number(&self, points: &[Point], name: &str, start: usize) -> Option<f64> {
        let point = points.iter().find(|point| point.name == name)?;
        let part = self.image.get(start..)?;
        let raw = point.encoding.number(point.slice(part)?)?;
        scaled(self.image, point, raw)
    }

    /// `None` where nothing says whether it is on, or where the curve in force is not all there.
    fn curve(&self, x: &str, y: &str) -> Option<Curve> {
        if !self.is_on()? {
            return Some(Curve::Off);
        }
        let curves = self.fixed("NCrv").or(self.fixed("NCrvSet"))?;
        let (active, most) = (self.head("ActPt")?, self.fixed("NPt")?);
        if curves < 1.0 || active < 1.0 || active > most {
            return None;
        }
        let corner = |index| Some((self.corner(x, index)?, self.corner(y, index)?));
        let corners: Option<Vec<_>> = (0..active as usize).map(corner).collect();
        corners.map(Curve::On)
    }

    fn is_on(&self) -> Option<bool> {
        match self.fixed("Ena")? {
            0.0 => Some(false),
            1.0 => Some(true),
            _ => None,
        }
    }

    fn droop(&self) -> Option<Droop> {
        let is_stored = self.fixed("NCtl")? >= 1.0;
        Some(Droop {
            is_on: self.is_on().filter(|_| is_stored)?,
            over_deadband_hz: self.head("DbOf")?,
            over_ratio: self.head("KOf")?,
        })
    }

    fn enter_service(&self) -> EnterServiceSettings {
        // The random part comes on top, up to this.
        let random_s = self.fixed("ESRndTms").unwrap_or(0.0);
        EnterServiceSettings {
            low_voltage_ratio: self.fixed("ESVLo"),
            high_voltage_ratio: self.fixed("ESVHi"),
            low_hz: self.fixed("ESHzLo"),
            high_hz: self.fixed("ESHzHi"),
            delay_s: self.fixed("ESDlyTms"),
            random_s: Some(random_s).filter(|s| *s > 0.0),
            ramp_s: self.fixed("ESRmpTms"),
        }
    }
}

#[cfg(test)]
#[path = "settings_tests.rs"]
mod tests;
