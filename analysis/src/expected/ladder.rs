//! The best light for every plane in a slot: the weather ladder.
//!
//! Model:   plane sensor, else global horizontal with direct or diffuse, else global horizontal
//!          alone (Erbs), else clear sky (Ineichen-Perez) that the rest of the plant scales later
//!          (`scaled`); transposition by Perez 1990. What the cells see: beam x incidence modifier
//!          (physical model), diffuse and ground-reflected light x a constant.
//! Symbols: irradiance [W/m2], standard deviations as ratios.
//! Range:   sun above the horizon; otherwise no light.
//! Source:  `sky`; accuracies of the rungs are common practice, named below.
//! Check:   tests/reference for the parts; tests/acceptance/replay.rs for the whole.

use super::heat::Heat;
use super::types::WeatherRung;
use crate::plant::{Plane, Plant};
use crate::reading::{
    Angle, Channel, ChannelId, DeviceId, Irradiance, Place, Quantity, SlotMeans, Stat, Temperature,
    Time,
};
use crate::sky::{
    self, ClearAir, Components, DiffuseModifiers, Dome, Facing, Observer, PlaneIrradiance,
    SunPosition, SunTrack, Sunlight,
};

/// One standard deviation of the irradiance by rung [-] (common practice for class B sensors).
const PLANE_SENSOR_RATIO: f64 = 0.03;
const HORIZONTAL_WITH_DIFFUSE_RATIO: f64 = 0.045;
const HORIZONTAL_ONLY_RATIO: f64 = 0.07;
const UNSCALED_CLEAR_SKY_RATIO: f64 = 0.5;
/// Zero offset of a pyranometer in daylight [W/m2].
const SENSOR_OFFSET_W_M2: f64 = 4.0;
/// Sensor and array do not see the same patch of sky: a share of the scatter always remains.
const MIN_SYNC_SHARE: f64 = 0.1;

/// Light and heat of all planes in a slot.
#[derive(Debug, Clone, PartialEq)]
pub struct Light {
    /// Where the sun stands in the middle of the slot.
    pub sun: SunPosition,
    /// One for each plane of the plant; `None` at night.
    pub planes: Vec<Option<PlaneLight>>,
    /// What each plane would get under a clear sky, whatever is measured; nothing at night.
    pub clear_poa: Vec<Irradiance>,
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
    /// What the plane would get under a clear sky.
    pub clear_poa: Irradiance,
    /// Where it came from.
    pub rung: WeatherRung,
    /// One standard deviation of the irradiance [-].
    pub sigma_ratio: f64,
    /// Relative error from light that changed during the slot [-].
    pub unsteady_ratio: f64,
    /// Between sun and plane normal.
    pub incidence: Angle,
    /// Cell temperature, with its uncertainty.
    pub heat: Heat,
}

/// One slot as the ladder sees it.
#[derive(Debug, Clone, Copy)]
pub struct Moment<'a> {
    /// Middle of the slot.
    pub middle: Time,
    /// Its means.
    pub means: &'a SlotMeans,
    /// The means of the slot before, to see how fast the light changes.
    pub before: &'a SlotMeans,
    /// How far stamps may disagree, over the length of the slot [-].
    pub sync_ratio: f64,
}

/// Which channels carry the weather, looked up once.
#[derive(Debug, Clone)]
pub struct Ladder {
    /// Remembers a day of the sun, for speed; what it says does not depend on that.
    track: SunTrack,
    /// By month.
    clear_air: [ClearAir; 12],
    planes: Vec<Plane>,
    /// By plane.
    diffuse: Vec<DiffuseModifiers>,
    facing: Vec<Facing>,
    plane_sensors: Vec<Vec<ChannelId>>,
    back_sensors: Vec<Vec<ChannelId>>,
    ghi: Vec<ChannelId>,
    dni: Vec<ChannelId>,
    dhi: Vec<ChannelId>,
    air: Vec<ChannelId>,
    wind: Vec<ChannelId>,
}

/// What all planes share in a slot with the sun up.
struct Sky {
    sunlight: Sunlight,
    clear: Dome,
    /// From global irradiance, where it is measured, with its rung and standard deviation [-].
    horizontal: Option<(Dome, WeatherRung, f64)>,
}

/// The rung that was taken for a plane.
struct Rung<'a> {
    irradiance: PlaneIrradiance,
    rung: WeatherRung,
    sigma_ratio: f64,
    /// Channels whose scatter shows how steady the light is.
    driver: &'a [ChannelId],
}

impl Ladder {
    /// The ladder of a plant.
    pub fn new(plant: &Plant) -> Self {
        let anywhere = |quantity| weather_channels(plant, quantity, |_| true);
        let in_plane = |quantity, p| weather_channels(plant, quantity, |plane| plane == Some(p));
        let by_plane = |quantity| {
            (0..plant.planes.len())
                .map(|p| in_plane(quantity, p))
                .collect()
        };
        let site = &plant.site;
        let observer = Observer::new(site.latitude, site.longitude, site.altitude_m);
        Self {
            track: SunTrack::new(observer),
            clear_air: site.linke_turbidity.map(|tl| ClearAir::new(&observer, tl)),
            planes: plant.planes.clone(),
            diffuse: plant
                .planes
                .iter()
                .map(|plane| sky::diffuse_modifiers(plane.tilt))
                .collect(),
            facing: plant.planes.iter().map(Facing::of).collect(),
            plane_sensors: by_plane(Quantity::Poa),
            back_sensors: by_plane(Quantity::ModuleTemperature),
            ghi: anywhere(Quantity::Ghi),
            dni: anywhere(Quantity::Dni),
            dhi: anywhere(Quantity::Dhi),
            air: anywhere(Quantity::AirTemperature),
            wind: anywhere(Quantity::WindSpeed),
        }
    }

    /// Light and heat in a slot.
    pub fn light(&mut self, moment: &Moment) -> Light {
        let sun = self.track.position(moment.middle);
        let sky = sun.is_up().then(|| {
            let sunlight = Sunlight::new(&sun, self.track.extraterrestrial(moment.middle));
            self.sky(moment, &sun, sunlight)
        });
        let plane = |p| sky.as_ref().map(|sky| self.plane(p, moment, sky));
        let planes: Vec<Option<PlaneLight>> = (0..self.planes.len()).map(plane).collect();
        let clear = |p: &Option<PlaneLight>| p.map_or(Irradiance::from_w_m2(0.0), |p| p.clear_poa);
        Light {
            clear_poa: planes.iter().map(clear).collect(),
            planes,
            air: first(moment.means, &self.air).map(|s| Temperature::from_degc(s.mean)),
            sun,
        }
    }

    fn sky(&self, moment: &Moment, sun: &SunPosition, sunlight: Sunlight) -> Sky {
        let clear = self.clear_air[sky::month_index(moment.middle)].under(&sunlight);
        let measured = |channels| first(moment.means, channels).map(irradiance);
        let horizontal = measured(&self.ghi).map(|ghi| {
            let (dni, dhi) = (measured(&self.dni), measured(&self.dhi));
            let (components, rung, sigma_ratio) = horizontal(ghi, dni, dhi, moment.middle, sun);
            (Dome::new(&components, &sunlight), rung, sigma_ratio)
        });
        Sky {
            clear: Dome::new(&clear, &sunlight),
            horizontal,
            sunlight,
        }
    }

    fn plane(&self, p: usize, moment: &Moment, sky: &Sky) -> PlaneLight {
        let (plane, facing) = (&self.planes[p], &self.facing[p]);
        let cos = facing.cos_incidence(&sky.sunlight.direction);
        let clear = sky.clear.on(facing, plane.albedo_ratio);
        let taken = self.rung(p, moment, sky, clear);
        let poa = taken.irradiance.total();
        let back = first(moment.means, &self.back_sensors[p]);
        let (air, wind) = (
            first(moment.means, &self.air),
            first(moment.means, &self.wind),
        );
        let offset_ratio = SENSOR_OFFSET_W_M2 / poa.w_m2().max(1.0);
        PlaneLight {
            poa,
            effective: effective(&taken.irradiance, cos, &self.diffuse[p]),
            clear_poa: clear.total(),
            rung: taken.rung,
            sigma_ratio: taken.sigma_ratio.hypot(offset_ratio),
            unsteady_ratio: unsteady(moment, taken.driver),
            incidence: Angle::from_deg(cos.acos().to_degrees()),
            heat: Heat::new(&plane.mounting, poa, back, air, wind),
        }
    }

    fn rung<'a>(
        &'a self,
        p: usize,
        moment: &Moment,
        sky: &Sky,
        clear: PlaneIrradiance,
    ) -> Rung<'a> {
        let facing = &self.facing[p];
        if let Some(poa) = first(moment.means, &self.plane_sensors[p]).map(irradiance) {
            return Rung {
                irradiance: sky::split_under(poa, &sky.sunlight, facing),
                rung: WeatherRung::PlaneSensor,
                sigma_ratio: PLANE_SENSOR_RATIO,
                driver: &self.plane_sensors[p],
            };
        }
        let Some((dome, rung, sigma_ratio)) = &sky.horizontal else {
            return Rung {
                irradiance: clear,
                rung: WeatherRung::ScaledClearSky,
                sigma_ratio: UNSCALED_CLEAR_SKY_RATIO,
                driver: &[],
            };
        };
        Rung {
            irradiance: dome.on(facing, self.planes[p].albedo_ratio),
            rung: *rung,
            sigma_ratio: *sigma_ratio,
            driver: &self.ghi,
        }
    }
}

fn weather_channels(
    plant: &Plant,
    quantity: Quantity,
    in_plane: impl Fn(Option<usize>) -> bool,
) -> Vec<ChannelId> {
    let devices = plant
        .weather
        .iter()
        .map(|device| (&device.id, device.plane));
    // Sensors may be wired to an inverter; then they see the plane of its first input.
    let inverters = plant.inverters.iter().map(|inverter| {
        let plane = inverter.inputs.first().map(|input| input.plane());
        (&inverter.id, plane)
    });
    let carries = |channel: &Channel, id: &DeviceId| {
        channel.device == *id && channel.place == Place::Device && channel.quantity == quantity
    };
    devices
        .chain(inverters)
        .filter(|(_, plane)| in_plane(*plane))
        .flat_map(|(id, _)| plant.channels.iter().filter(move |(_, c)| carries(c, id)))
        .map(|(id, _)| id)
        .collect()
}

fn first<'a>(means: &'a SlotMeans, channels: &[ChannelId]) -> Option<&'a Stat> {
    channels.iter().find_map(|id| means.get(*id))
}

/// A pyranometer reads a little below zero at night.
fn irradiance(stat: &Stat) -> Irradiance {
    Irradiance::from_w_m2(stat.mean.max(0.0))
}

/// How far stamps that disagree may be off in changing light: from the scatter inside the slot, or
/// from the step since the slot before where there is one value only.
fn unsteady(moment: &Moment, channels: &[ChannelId]) -> f64 {
    let Some(now) = first(moment.means, channels) else {
        return 0.0;
    };
    let change = match first(moment.before, channels) {
        _ if now.count > 2 => now.std(),
        Some(then) => (now.mean - then.mean).abs(),
        None => 0.0,
    };
    moment.sync_ratio.max(MIN_SYNC_SHARE) * change / now.mean.max(1.0)
}

fn horizontal(
    ghi: Irradiance,
    dni: Option<Irradiance>,
    dhi: Option<Irradiance>,
    middle: Time,
    sun: &SunPosition,
) -> (Components, WeatherRung, f64) {
    let components = match (dni, dhi) {
        (Some(dni), Some(dhi)) => Components { ghi, dni, dhi },
        (None, Some(dhi)) => sky::close_with_dhi(ghi, dhi, sun),
        (Some(dni), None) => sky::close_with_dni(ghi, dni, sun),
        (None, None) => {
            let split = sky::erbs(ghi, middle, sun);
            return (split, WeatherRung::HorizontalOnly, HORIZONTAL_ONLY_RATIO);
        }
    };
    (
        components,
        WeatherRung::HorizontalWithDiffuse,
        HORIZONTAL_WITH_DIFFUSE_RATIO,
    )
}

fn effective(
    irradiance: &PlaneIrradiance,
    cos_incidence: f64,
    diffuse: &DiffuseModifiers,
) -> Irradiance {
    let beam = irradiance.beam.w_m2() * sky::incidence_modifier_at(cos_incidence);
    let sky = irradiance.sky_diffuse.w_m2() * diffuse.sky;
    let ground = irradiance.ground.w_m2() * diffuse.ground;
    Irradiance::from_w_m2(beam + sky + ground)
}
