//! Light and heat on all planes in a slot, as the ladder finds them.
//! Never in here: how they are found.

use super::heat::Heat;
use super::sigma::Sigma;
use super::types::WeatherRung;
use crate::reading::{Angle, ChannelId, Irradiance, Speed, Temperature, Time};
use crate::sky::{Components, SunPosition, Sunlight};

/// Light and heat of all planes in a slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// The middle of the slot, or of its part with sun.
    pub at: Time,
    /// Where the sun stands then.
    pub sun: SunPosition,
    /// The part of the slot with the sun up [-]; 1 where it is not up at all, too.
    pub lit_ratio: f64,
    /// One for each plane of the plant, over the part of the slot with sun; `None` at night.
    pub planes: Vec<Option<PlaneLight>>,
    /// What each plane would get under a clear sky, whatever is measured; nothing at night.
    pub clear_poa: Vec<Irradiance>,
    /// Air temperature, if measured.
    pub air: Option<Temperature>,
    /// Wind speed, if measured.
    pub wind: Option<Speed>,
    /// The sun and the clear sky under it; `None` at night.
    pub(super) clear: Option<(Sunlight, Components)>,
    /// Light on the ground, where it is measured.
    pub(super) ground: Option<Components>,
}

/// Light and heat of one plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneLight {
    /// Irradiance in the plane.
    pub poa: Irradiance,
    /// What reaches the cells, as light at normal incidence.
    pub effective: Irradiance,
    /// Share of that which comes straight from the sun [-].
    pub beam_share: f64,
    /// What the plane would get under a clear sky.
    pub clear_poa: Irradiance,
    /// Where it came from.
    pub rung: WeatherRung,
    /// How many inputs of the plane itself show it [-], if they do: then it has no gain of its own.
    pub own_inputs: Option<f64>,
    /// Index of the other plane by which the sky over this one is known, if one shows it.
    pub sky_from: Option<usize>,
    /// The sensor that it came from.
    pub sensor: Option<ChannelId>,
    /// One standard deviation of the irradiance [-].
    pub sigma: Sigma,
    /// Relative error from light that changed during the slot [-].
    pub unsteady_ratio: f64,
    /// Between sun and plane normal.
    pub incidence: Angle,
    /// Cell temperature, with its uncertainty.
    pub heat: Heat,
}

impl Light {
    /// Global irradiance of the clear sky [W/m2]; nothing at night.
    pub fn clear_ghi_w_m2(&self) -> f64 {
        self.clear.map_or(0.0, |(_, clear)| clear.ghi.w_m2())
    }
}
