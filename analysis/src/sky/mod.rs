//! Sky: where the sun stands, how much light there should be, and how much of it meets a plane.
//! Never in here: measured data, modules, or an answer that depends on what was asked before.

mod air_mass;
mod angles;
mod bent_path;
mod calendar;
mod clear_sky;
mod clouds;
mod decomposition;
mod delta_t;
mod diffuse_incidence;
mod dirint;
mod dirint_ratio;
mod disc;
mod empirical_incidence;
mod exponential;
mod extraterrestrial;
mod geocentric;
mod haurwitz;
mod horizon;
mod incidence;
mod observer;
#[cfg(test)]
mod property_tests;
mod sky_model;
mod spa_terms;
mod sun;
mod sunlight;
mod topocentric;
mod track;
mod transposition;

pub use air_mass::{pressure_pa_at_altitude, relative_air_mass};
pub use calendar::{day_of_year, julian_day, month_index};
pub use clear_sky::{ClearAir, clear_sky, ineichen};
pub use clouds::{clearness_between, clearness_shown, under_clouds};
pub use decomposition::{
    Components, close_with_dhi, close_with_dni, erbs, erbs_diffuse_ratio, erbs_under,
};
pub use delta_t::delta_t_s;
pub use diffuse_incidence::{DiffuseModifiers, diffuse_modifiers};
pub use dirint::dirint;
pub use disc::{Global, disc};
pub use empirical_incidence::{ashrae_modifier, martin_ruiz_diffuse, martin_ruiz_modifier};
pub(crate) use exponential::{exp, ln};
pub use extraterrestrial::extraterrestrial;
pub use geocentric::{Geocentric, geocentric};
pub use haurwitz::{haurwitz, is_possible_ghi};
pub use horizon::{behind_horizon, is_hidden};
pub use incidence::{Facing, incidence, incidence_modifier, incidence_modifier_at};
pub use observer::Observer;
pub use sky_model::SkyModel;
pub use sun::{SunDirection, SunPosition, sun_position};
pub use sunlight::Sunlight;
pub use topocentric::{Topocentric, topocentric};
pub use track::SunTrack;
pub use transposition::{
    Dome, PlaneIrradiance, perez_sky_diffuse, plane_irradiance, split_plane_irradiance, split_under,
};
