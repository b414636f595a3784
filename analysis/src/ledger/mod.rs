//! Where every missing watt-hour went, and the figures by which a plant is judged.
//!
//! The balance hour by hour ([`hourly`], [`Hours`]); yields, performance ratio and availability by
//! day, month, year and as a whole ([`Performance`]); the capacity by regression
//! ([`CapacityTest`]). Each takes slot after slot and holds no more than days.
//! Never in here: what is wrong, or files.

mod balance;
mod capacity;
mod datasheet;
mod day_sums;
mod entry;
mod figures;
mod performance;
mod rating;
mod regression;

pub use balance::{Hours, hourly};
pub use capacity::{Capacity, CapacityError, CapacityTest, ReportingConditions};
pub use entry::{Entry, Loss};
pub use figures::{Figures, LEAST_COVER_RATIO, Period};
pub use performance::Performance;
pub use regression::{Fit, FitFailure, Gram, fit};
