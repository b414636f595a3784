//! From light and heat to voltage and current: cell temperature, the one-diode curve, its fit from
//! a datasheet, strings in series and parallel, and where an inverter works on the curves. Pure
//! formulas.
//! Never in here: readings, calibration.

mod curve;
mod diode;
mod fit;
mod fit_at_edge;
mod limit;
mod operation;
mod parallel;
mod peaks;
mod sensitivity;
mod shade;
mod temperature;
mod translation;

#[cfg(test)]
mod limit_tests;
#[cfg(test)]
pub(crate) mod operation_cases;
#[cfg(test)]
mod operation_properties;
#[cfg(test)]
mod parallel_property_tests;
#[cfg(test)]
mod property_tests;

pub use curve::{Curve, OperatingPoint};
pub use diode::{ArrayError, ModuleModel};
pub use fit::{FitError, FittedModule, fit_datasheet};
pub use limit::{Ceiling, InverterConditions, Limit, ceilings};
pub use operation::{
    Available, Characteristic, InputOperation, Operation, OperationError, available, operate,
};
pub use parallel::{InputCurve, StringCurve};
pub use sensitivity::{CurveChange, PeakSensitivity, peak_sensitivity};
pub use shade::{Section, ShadeError, ShadedString};
pub use temperature::{Lagged, SandiaMounting, cell_from_back, faiman, lagged, ross, sandia_back};
pub use translation::{Conditions, Procedure1, Procedure2, TranslationError};
