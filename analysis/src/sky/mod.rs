//! From time and place to light: where the sun stands, clear sky, split of global irradiance,
//! irradiance in a plane, incidence on glass. Pure formulas.
//! Never in here: sensors, modules.

mod air_mass;
mod calendar;
mod clear_sky;
mod decomposition;
mod extraterrestrial;
mod incidence;
mod sun;
mod sun_terms;
mod transposition;

pub use air_mass::{kasten_young, pressure_pa};
pub use calendar::month_index;
pub use clear_sky::{clear_sky, ineichen};
pub use decomposition::{close_with_dhi, close_with_dni, erbs};
pub use extraterrestrial::{day_of_year_extraterrestrial, extraterrestrial};
pub use incidence::{incidence, incidence_modifier};
pub use sun::{Observer, SunPosition, Trace, sun_position, trace};
pub use transposition::{PlaneIrradiance, Sky, perez, plane_irradiance, split_plane_irradiance};

use crate::reading::Irradiance;

/// The three components of light on level ground.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Components {
    /// Global horizontal.
    pub ghi: Irradiance,
    /// Direct normal.
    pub dni: Irradiance,
    /// Diffuse horizontal.
    pub dhi: Irradiance,
}
