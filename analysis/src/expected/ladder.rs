//! The best light and heat for every plane in a slot: the weather ladder.
//!
//! Model:   plane sensor, else global horizontal with direct or diffuse, else global horizontal
//!          alone (Erbs), else clear sky (Ineichen-Perez) that the plant's own inputs scale later;
//!          transposition by Perez 1990. What the cells see: beam x incidence modifier (physical
//!          model), diffuse and ground-reflected x a constant.
//!          Cell temperature: back-of-module sensor plus G / 1000 x offset, else Faiman.
//! Symbols: irradiance [W/m2], temperature [degC], standard deviations as ratios or [K].
//! Range:   sun above the horizon; otherwise no light.
//! Source:  `sky` and `array`; accuracies of the rungs are common practice, named below.
//! Check:   tests/reference for the parts; tests/acceptance/replay.rs for the whole.

use super::types::WeatherRung;
use crate::array;
use crate::plant::{Plane, Plant};
use crate::reading::{
    Angle, ChannelId, Irradiance, Place, Quantity, SlotMeans, Speed, Stat, Temperature, Time,
};
use crate::sky::{self, Components, Observer, PlaneIrradiance, SunPosition};

/// One standard deviation of the irradiance by rung [-] (common practice for class B sensors).
const PLANE_SENSOR_RATIO: f64 = 0.03;
const HORIZONTAL_WITH_DIFFUSE_RATIO: f64 = 0.045;
const HORIZONTAL_ONLY_RATIO: f64 = 0.07;
/// Zero offset of a pyranometer in daylight [W/m2].
const SENSOR_OFFSET_W_M2: f64 = 4.0;
/// One standard deviation of the cell temperature [K]: with a back-of-module sensor, from air
/// temperature and wind, from air temperature alone, from nothing.
const SIGMA_BACK_SENSOR_K: f64 = 2.5;
const SIGMA_AIR_AND_WIND_K: f64 = 3.0;
const SIGMA_AIR_ONLY_K: f64 = 4.0;
const SIGMA_NOTHING_K: f64 = 10.0;
/// Assumed where nothing is measured.
const ASSUMED_AIR: Temperature = Temperature::from_degc(20.0);
const ASSUMED_WIND: Speed = Speed::from_m_s(1.0);
/// Incidence modifier of isotropic diffuse light behind flat glass [-]; tilt changes it by < 1 %.
const DIFFUSE_MODIFIER: f64 = 0.955;
/// Sun elevation below which there is no light to work with.
const HORIZON_DEG: f64 = 0.0;

/// Light and heat of all planes in a slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Where the sun stands in the middle of the slot.
    pub sun: SunPosition,
    /// One for each plane of the plant; `None` at night.
    pub planes: Vec<Option<PlaneLight>>,
    /// Air temperature, if measured.
    pub air: Option<Temperature>,
}

/// Light and heat of one plane.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PlaneLight {
    /// Irradiance in the plane.
    pub poa: Irradiance,
    /// What reaches the cells, as light at normal incidence.
    pub effective: Irradiance,
    /// Where it came from.
    pub rung: WeatherRung,
    /// One standard deviation of the irradiance [-].
    pub sigma_ratio: f64,
    /// Relative error from light that changed during the slot [-].
    pub unsteady_ratio: f64,
    /// Between sun and plane normal.
    pub incidence: Angle,
    /// Cell temperature.
    pub cell: Temperature,
    /// One standard deviation of it [K].
    pub sigma_cell_k: f64,
    /// The air temperature that the cell temperature was computed from; `None` where a sensor on
    /// a module gave it.
    pub cell_from_air: Option<Temperature>,
}

/// Which channels carry the weather, looked up once.
#[derive(Debug, Clone)]
pub struct Ladder {
    observer: Observer,
    linke_turbidity: [f64; 12],
    planes: Vec<Plane>,
    plane_sensors: Vec<Vec<ChannelId>>,
    back_sensors: Vec<Vec<ChannelId>>,
    ghi: Vec<ChannelId>,
    dni: Vec<ChannelId>,
    dhi: Vec<ChannelId>,
    air: Vec<ChannelId>,
    wind: Vec<ChannelId>,
}

impl Ladder {
    /// The ladder of a plant.
    pub fn new(plant: &Plant) -> Self {
        let anywhere = |quantity| weather_channels(plant, quantity, |_| true);
        let in_plane = |quantity, p| weather_channels(plant, quantity, |plane| plane == Some(p));
        let planes = 0..plant.planes.len();
        Self {
            observer: Observer::new(
                plant.site.latitude,
                plant.site.longitude,
                plant.site.altitude_m,
            ),
            linke_turbidity: plant.site.linke_turbidity,
            planes: plant.planes.clone(),
            plane_sensors: planes.clone().map(|p| in_plane(Quantity::Poa, p)).collect(),
            back_sensors: planes
                .map(|p| in_plane(Quantity::ModuleTemperature, p))
                .collect(),
            ghi: anywhere(Quantity::Ghi),
            dni: anywhere(Quantity::Dni),
            dhi: anywhere(Quantity::Dhi),
            air: anywhere(Quantity::AirTemperature),
            wind: anywhere(Quantity::WindSpeed),
        }
    }

    /// Light and heat in a slot. `before`: the slot before it, to see how fast the light changes.
    pub fn light(&self, middle: Time, means: &SlotMeans, before: &SlotMeans, sync: f64) -> Light {
        let sun = sky::sun_position(middle, &self.observer);
        let air = first(means, &self.air).map(|s| Temperature::from_degc(s.mean));
        let is_up = 90.0 - sun.apparent_zenith.deg() > HORIZON_DEG;
        let plane = |p| is_up.then(|| self.plane(p, middle, &sun, means, before, sync, air));
        let planes = (0..self.planes.len()).map(|p| plane(p).flatten()).collect();
        Light { sun, planes, air }
    }

    #[expect(
        clippy::too_many_arguments,
        reason = "one slot's facts, each used once"
    )]
    fn plane(
        &self,
        p: usize,
        middle: Time,
        sun: &SunPosition,
        means: &SlotMeans,
        before: &SlotMeans,
        sync: f64,
        air: Option<Temperature>,
    ) -> Option<PlaneLight> {
        let plane = &self.planes[p];
        let incidence = sky::incidence(sun, plane);
        let (irradiance, rung, sigma, driver) = self.irradiance(p, middle, sun, means)?;
        let poa = irradiance.total().w_m2();
        let unsteady_ratio = driver.map_or(0.0, |channels| unsteady(means, before, channels, sync));
        let (cell, sigma_cell_k, cell_from_air) = self.cell(p, means, irradiance.total(), air);
        Some(PlaneLight {
            poa: irradiance.total(),
            effective: effective(&irradiance, incidence),
            rung,
            sigma_ratio: sigma.hypot(SENSOR_OFFSET_W_M2 / poa.max(1.0)),
            unsteady_ratio,
            incidence,
            cell,
            sigma_cell_k,
            cell_from_air,
        })
    }

    fn irradiance(
        &self,
        p: usize,
        middle: Time,
        sun: &SunPosition,
        means: &SlotMeans,
    ) -> Option<(PlaneIrradiance, WeatherRung, f64, Option<&[ChannelId]>)> {
        let plane = &self.planes[p];
        if let Some(poa) = first(means, &self.plane_sensors[p]) {
            let poa = Irradiance::from_w_m2(poa.mean.max(0.0));
            let split = sky::split_plane_irradiance(poa, middle, sun, plane);
            let driver = Some(self.plane_sensors[p].as_slice());
            return Some((split, WeatherRung::PlaneSensor, PLANE_SENSOR_RATIO, driver));
        }
        let (components, rung, sigma, driver) = match first(means, &self.ghi) {
            Some(ghi) => {
                let ghi = Irradiance::from_w_m2(ghi.mean.max(0.0));
                let dni = first(means, &self.dni).map(|s| Irradiance::from_w_m2(s.mean.max(0.0)));
                let dhi = first(means, &self.dhi).map(|s| Irradiance::from_w_m2(s.mean.max(0.0)));
                let (components, rung, sigma) = horizontal(ghi, dni, dhi, middle, sun);
                (components, rung, sigma, Some(self.ghi.as_slice()))
            }
            None => {
                let turbidity = self.linke_turbidity[sky::month_index(middle)];
                let clear = sky::clear_sky(middle, sun, &self.observer, turbidity);
                (clear, WeatherRung::OwnInputs, HORIZONTAL_ONLY_RATIO, None)
            }
        };
        let irradiance = sky::plane_irradiance(&components, middle, sun, plane);
        Some((irradiance, rung, sigma, driver))
    }

    fn cell(
        &self,
        p: usize,
        means: &SlotMeans,
        poa: Irradiance,
        air: Option<Temperature>,
    ) -> (Temperature, f64, Option<Temperature>) {
        let mounting = &self.planes[p].mounting;
        if let Some(back) = first(means, &self.back_sensors[p]) {
            let back = Temperature::from_degc(back.mean);
            return (
                array::cell_from_back(back, poa, mounting),
                SIGMA_BACK_SENSOR_K,
                None,
            );
        }
        let wind = first(means, &self.wind).map(|s| Speed::from_m_s(s.mean));
        let sigma = match (air, wind) {
            (Some(_), Some(_)) => SIGMA_AIR_AND_WIND_K,
            (Some(_), None) => SIGMA_AIR_ONLY_K,
            (None, _) => SIGMA_NOTHING_K,
        };
        let (air, wind) = (air.unwrap_or(ASSUMED_AIR), wind.unwrap_or(ASSUMED_WIND));
        let back = array::faiman(poa, air, wind, mounting);
        (array::cell_from_back(back, poa, mounting), sigma, Some(air))
    }
}

fn weather_channels(
    plant: &Plant,
    quantity: Quantity,
    in_plane: impl Fn(Option<usize>) -> bool,
) -> Vec<ChannelId> {
    let of_device = |id| {
        plant.channels.iter().filter(move |(_, channel)| {
            channel.device == id && channel.place == Place::Device && channel.quantity == quantity
        })
    };
    plant
        .weather
        .iter()
        .filter(|device| in_plane(device.plane))
        .flat_map(|device| of_device(device.id.clone()).map(|(id, _)| id))
        .collect()
}

fn first<'a>(means: &'a SlotMeans, channels: &[ChannelId]) -> Option<&'a Stat> {
    channels.iter().find_map(|id| means.get(*id))
}

/// How far stamps that disagree by a share `sync` of the slot may be off in changing light: from the
/// scatter inside the slot, or from the step since the slot before where there is one value only.
fn unsteady(means: &SlotMeans, before: &SlotMeans, channels: &[ChannelId], sync: f64) -> f64 {
    let Some(now) = first(means, channels) else {
        return 0.0;
    };
    let change = match first(before, channels) {
        _ if now.count > 2 => now.std(),
        Some(then) => (now.mean - then.mean).abs(),
        None => 0.0,
    };
    sync.max(MIN_SYNC_SHARE) * change / now.mean.max(1.0)
}

/// Sensor and array do not see the same patch of sky: a share of the scatter always remains.
const MIN_SYNC_SHARE: f64 = 0.1;

fn horizontal(
    ghi: Irradiance,
    dni: Option<Irradiance>,
    dhi: Option<Irradiance>,
    middle: Time,
    sun: &SunPosition,
) -> (Components, WeatherRung, f64) {
    let rung = WeatherRung::HorizontalWithDiffuse;
    match (dni, dhi) {
        (Some(dni), Some(dhi)) => (
            Components { ghi, dni, dhi },
            rung,
            HORIZONTAL_WITH_DIFFUSE_RATIO,
        ),
        (None, Some(dhi)) => (
            sky::close_with_dhi(ghi, dhi, sun),
            rung,
            HORIZONTAL_WITH_DIFFUSE_RATIO,
        ),
        (Some(dni), None) => (
            sky::close_with_dni(ghi, dni, sun),
            rung,
            HORIZONTAL_WITH_DIFFUSE_RATIO,
        ),
        (None, None) => (
            sky::erbs(ghi, middle, sun),
            WeatherRung::HorizontalOnly,
            HORIZONTAL_ONLY_RATIO,
        ),
    }
}

fn effective(irradiance: &PlaneIrradiance, incidence: Angle) -> Irradiance {
    let beam = irradiance.beam.w_m2() * sky::incidence_modifier(incidence);
    let diffuse = irradiance.sky_diffuse.w_m2() + irradiance.ground.w_m2();
    Irradiance::from_w_m2(beam + DIFFUSE_MODIFIER * diffuse)
}
