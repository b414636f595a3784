//! Modules, datasheet fit and strings against other people's numbers: a published example, and
//! tables computed with pvlib.
//! Source: the `.source.toml` beside each table; `recompute_with_pvlib.py` computes them again.

#[path = "array/fit.rs"]
mod fit;
#[path = "array/heat.rs"]
mod heat;
#[path = "array/module.rs"]
mod module;
#[path = "array/operation.rs"]
mod operation;
#[path = "array/shade.rs"]
mod shade;
#[path = "array/shade_parallel.rs"]
mod shade_parallel;
#[path = "array/strings.rs"]
mod strings;
#[path = "array/translation.rs"]
mod translation;
#[path = "array/year.rs"]
mod year;

use analysis::array::{Curve, ModuleModel};
use analysis::reading::{Irradiance, Temperature, Voltage};
use tests::{assert_close, relative};

/// A module of our own: 54 cells, 410 W, five parameters.
const OWN_MODULE: ModuleModel = ModuleModel {
    photo_ref_a: 13.956_939_715_7,
    saturation_ref_a: 2.046_317_985_93e-11,
    series_ohm: 0.162_333_876_224,
    shunt_ref_ohm: 326.318_499_373,
    ideality_ref_v: 1.372_974_606_22,
    isc_a_per_k: 0.006_277_5,
    adjust_ratio: 0.0,
};

/// Loop of each string of the tables.
const CABLE_OHM: f64 = 0.40;
/// Sections of a module, each with its bypass diode.
const SECTIONS: f64 = 3.0;

/// Both sides solve the same equations with the same Boltzmann constant: half a unit of the ninth
/// digit that is stored, of a number that begins with 1, and what two roots leave.
const MODEL: f64 = 6e-9;

fn curve(module: &ModuleModel, irradiance_w_m2: f64, cell_degc: f64) -> Curve {
    let light = Irradiance::from_w_m2(irradiance_w_m2);
    let cell = Temperature::from_degc(cell_degc);
    module
        .at(light, cell)
        .expect("inside the range of the model")
}

fn amps(curve: &Curve, volts: f64) -> f64 {
    curve.current_at(Voltage::from_v(volts)).a()
}

/// Compares pairs of computed and wanted, each with its name.
fn assert_all(pairs: &[(&str, f64, f64)], ratio: f64, label: impl std::fmt::Display) {
    for &(name, computed, wanted) in pairs {
        let tolerance = relative(ratio, wanted);
        assert_close!(computed, wanted, tolerance, format!("{label}: {name}"));
    }
}
