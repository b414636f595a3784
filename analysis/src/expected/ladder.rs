//! The best light for every plane in a slot: the weather ladder.
//!
//! Model:   plane sensor, else global horizontal with direct or diffuse, else global horizontal
//!          alone (Erbs), else clear sky (Ineichen-Perez) that the rest of the plant scales later
//!          (`scaled`); by what is valid in the slot (`validity`). Transposition by Perez 1990; a
//!          horizon hides the beam. What the cells see: beam x incidence modifier (physical model),
//!          diffuse and ground-reflected light x their modifiers by tilt.
//! Symbols: irradiance [W/m2], standard deviations as ratios.
//! Range:   sun above the horizon; otherwise no light.
//! Source:  `sky`; accuracies of the rungs in `sigma`.
//! Check:   tests/reference for the parts; tests/acceptance/engine/sensors.rs and replay.rs for
//!          the whole.

use super::heat::Heat;
use super::light::{Light, PlaneLight};
use super::moment::{LitPart, Moment};
use super::sensors::{sensor, sensor_value, weather_channels};
use super::sigma::{self, DiffuseShare, LEAST_COSINE, Sigma};
use super::types::WeatherRung;
use super::validity::{self, Most};
use crate::plant::{Plane, Plant};
use crate::reading::{Angle, ChannelId, Irradiance, Quantity, Speed, Temperature, Time};
use crate::sky::{
    self, ClearAir, Components, DiffuseModifiers, Dome, Facing, Observer, PlaneIrradiance,
    SunPosition, SunTrack, Sunlight,
};

/// One standard deviation of the turbidity beside the site's, and of the diffuse share that the
/// decomposition gives (engineering judgement) [-].
const OTHER_TURBIDITY: f64 = 0.7;
const OTHER_SPLIT_RATIO: f64 = 0.05;

/// Which channels carry the weather, looked up once.
#[derive(Debug, Clone)]
pub struct Ladder {
    /// Remembers a day of the sun, for speed; what it says does not depend on that.
    track: SunTrack,
    /// By month.
    clear_air: [ClearAir; 12],
    /// The same, one standard deviation hazier.
    hazier_air: [ClearAir; 12],
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
    sun: SunPosition,
    sunlight: Sunlight,
    lit_ratio: f64,
    clear: Components,
    clear_dome: Dome,
    horizontal: Option<Horizontal>,
}

/// Global irradiance that is measured, with what else is.
struct Horizontal {
    dome: Dome,
    components: Components,
    rung: WeatherRung,
    sensor: ChannelId,
}

/// The rung that was taken for a plane.
struct Rung {
    irradiance: PlaneIrradiance,
    rung: WeatherRung,
    sigma: Sigma,
    sensor: Option<ChannelId>,
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
            hazier_air: site
                .linke_turbidity
                .map(|tl| ClearAir::new(&observer, tl + OTHER_TURBIDITY)),
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

    /// Takes a plane to lie otherwise than the site file says.
    pub fn turn(&mut self, p: usize, plane: Plane) {
        self.facing[p] = Facing::of(&plane);
        self.diffuse[p] = sky::diffuse_modifiers(plane.tilt);
        self.planes[p] = plane;
    }

    /// The sun of an instant.
    pub(super) fn sunlight(&mut self, at: Time) -> Sunlight {
        let sun = self.track.position(at);
        Sunlight::new(&sun, self.track.extraterrestrial(at))
    }

    /// The sun and the clear sky under it.
    pub(super) fn clear_at(&mut self, at: Time) -> (Sunlight, Components) {
        let sunlight = self.sunlight(at);
        let clear = self.clear_air[sky::month_index(at)].under(&sunlight);
        (sunlight, clear)
    }

    /// A plane as it is taken to lie.
    pub(super) fn plane_facts(&self, p: usize) -> &Plane {
        &self.planes[p]
    }

    /// The light on the ground that a plane's light comes from, and what it would be under a sky one
    /// standard deviation off, always to the same side; `None` for a plane with a sensor of its own.
    pub fn ground(&self, p: usize, light: &Light) -> Option<(Components, Components)> {
        let plane = light.planes[p].as_ref()?;
        let (sunlight, clear) = light.clear.as_ref()?;
        match plane.rung {
            WeatherRung::PlaneSensor => None,
            WeatherRung::ScaledClearSky => {
                let hazier = &self.hazier_air[sky::month_index(light.at)];
                Some((*clear, hazier.under(sunlight)))
            }
            WeatherRung::HorizontalWithDiffuse => light.ground.map(|ground| (ground, ground)),
            WeatherRung::HorizontalOnly => light.ground.map(|ground| {
                let more = ground.dhi.w_m2() + OTHER_SPLIT_RATIO * ground.ghi.w_m2();
                let other = Irradiance::from_w_m2(more.min(ground.ghi.w_m2()));
                (ground, sky::close_with_dhi(ground.ghi, other, &light.sun))
            }),
        }
    }

    /// What of a clear sky's light in a plane reaches the cells; `None` while the sun is down.
    pub fn clear_effective(&self, p: usize, light: &Light) -> Option<Irradiance> {
        let (sunlight, clear) = light.clear.as_ref()?;
        let in_plane = self.on_plane(p, &Dome::new(clear, sunlight), &light.sun);
        Some(self.effective(p, &in_plane, sunlight))
    }

    /// Light and heat in a slot.
    pub fn light(&mut self, moment: &Moment) -> Light {
        let lit = LitPart::of(&mut self.track, moment.means.start, moment.slot);
        let sun = self.track.position(lit.middle);
        let sky = sun.is_up().then(|| self.sky(moment, sun, lit));
        let plane = |p| sky.as_ref().map(|sky| self.plane(p, moment, sky));
        let planes: Vec<Option<PlaneLight>> = (0..self.planes.len()).map(plane).collect();
        let clear = |p: &Option<PlaneLight>| p.map_or(Irradiance::from_w_m2(0.0), |p| p.clear_poa);
        Light {
            clear_poa: planes.iter().map(clear).collect(),
            planes,
            air: moment
                .first(&self.air)
                .map(|s| Temperature::from_degc(s.mean)),
            wind: moment.first(&self.wind).map(|s| Speed::from_m_s(s.mean)),
            at: lit.middle,
            ground: sky
                .as_ref()
                .and_then(|sky| sky.horizontal.as_ref())
                .map(|horizontal| horizontal.components),
            clear: sky.map(|sky| (sky.sunlight, sky.clear)),
            sun,
            lit_ratio: lit.share,
        }
    }

    fn sky(&mut self, moment: &Moment, sun: SunPosition, lit: LitPart) -> Sky {
        let sunlight = Sunlight::new(&sun, self.track.extraterrestrial(lit.middle));
        let clear = self.clear_air[sky::month_index(lit.middle)].under(&sunlight);
        Sky {
            clear_dome: Dome::new(&clear, &sunlight),
            clear,
            horizontal: self.horizontal(moment, &sun, &sunlight, lit),
            sun,
            sunlight,
            lit_ratio: lit.share,
        }
    }

    /// From global irradiance and what is measured beside it, as far as it can be true.
    fn horizontal(
        &self,
        moment: &Moment,
        sun: &SunPosition,
        sunlight: &Sunlight,
        lit: LitPart,
    ) -> Option<Horizontal> {
        let most = Most::under(sunlight);
        let possible = |ghi| sky::is_possible_ghi(ghi, sun.apparent_zenith);
        let (sensor, ghi) = sensor(moment, &self.ghi, lit.share, possible)?;
        let up_to = |most: f64| move |seen: Irradiance| seen.w_m2() <= most;
        let dni = sensor_value(moment, &self.dni, lit.share, up_to(most.dni));
        let dhi = sensor_value(moment, &self.dhi, lit.share, up_to(most.dhi));
        let components = match (dni, dhi) {
            (Some(dni), Some(dhi)) if validity::closes(ghi, dni, dhi, sunlight) => {
                Some(Components { ghi, dni, dhi })
            }
            (None, Some(dhi)) => Some(sky::close_with_dhi(ghi, dhi, sun)),
            (Some(dni), None) => Some(sky::close_with_dni(ghi, dni, sun)),
            // Of components that contradict each other, nobody knows which is wrong.
            _ => None,
        };
        let rung = match components {
            Some(_) => WeatherRung::HorizontalWithDiffuse,
            None => WeatherRung::HorizontalOnly,
        };
        let components = components.unwrap_or_else(|| sky::erbs(ghi, lit.middle, sun));
        Some(Horizontal {
            dome: Dome::new(&components, sunlight),
            components,
            rung,
            sensor,
        })
    }

    fn plane(&self, p: usize, moment: &Moment, sky: &Sky) -> PlaneLight {
        let (plane, facing) = (&self.planes[p], &self.facing[p]);
        let cos = facing.cos_incidence(&sky.sunlight.direction);
        let clear = self.on_plane(p, &sky.clear_dome, &sky.sun);
        let taken = self.rung(p, moment, sky, clear);
        let poa = taken.irradiance.total();
        let back = moment.first(&self.back_sensors[p]);
        let (air, wind) = (moment.first(&self.air), moment.first(&self.wind));
        PlaneLight {
            poa,
            effective: self.effective(p, &taken.irradiance, &sky.sunlight),
            beam_share: self.beam_share(p, &taken.irradiance, &sky.sunlight),
            clear_poa: clear.total(),
            rung: taken.rung,
            own_inputs: None,
            sky_from: None,
            sensor: taken.sensor,
            sigma: light_sigma(&taken, cos),
            unsteady_ratio: taken.sensor.map_or(0.0, |id| moment.unsteady_ratio(id)),
            incidence: Angle::from_deg(cos.acos().to_degrees()),
            heat: Heat::new(&plane.mounting, poa, back, air, wind),
        }
    }

    /// Light in a plane from a sky, behind the plane's horizon.
    pub(super) fn on_plane(&self, p: usize, dome: &Dome, sun: &SunPosition) -> PlaneIrradiance {
        let light = dome.on(&self.facing[p], self.planes[p].albedo_ratio);
        match &self.planes[p].horizon {
            Some(horizon) => sky::behind_horizon(light, sun, horizon),
            None => light,
        }
    }

    /// Cosine of the incidence of the sun in a plane.
    pub(super) fn cos_incidence(&self, p: usize, sun: &Sunlight) -> f64 {
        self.facing[p].cos_incidence(&sun.direction)
    }

    /// The clearness of the sky beside a clear one that the light in a plane shows, if it can.
    pub(super) fn clearness_shown(
        &self,
        p: usize,
        poa: Irradiance,
        (sun, clear): &(Sunlight, Components),
    ) -> Option<f64> {
        let albedo_ratio = self.planes[p].albedo_ratio;
        sky::clearness_shown(poa, clear, sun, &self.facing[p], albedo_ratio)
    }

    /// The clearnesses of the sky under which the light in a plane is between these two.
    pub(super) fn clearness_between(
        &self,
        p: usize,
        poa: (Irradiance, Irradiance),
        (sun, clear): &(Sunlight, Components),
    ) -> (f64, f64) {
        let albedo_ratio = self.planes[p].albedo_ratio;
        sky::clearness_between(poa, clear, sun, &self.facing[p], albedo_ratio)
    }

    /// What of the light in a plane reaches the cells.
    pub(super) fn effective(
        &self,
        p: usize,
        light: &PlaneIrradiance,
        sun: &Sunlight,
    ) -> Irradiance {
        let cos = self.facing[p].cos_incidence(&sun.direction);
        let diffuse = &self.diffuse[p];
        let beam = light.beam.w_m2() * sky::incidence_modifier_at(cos);
        let sky = light.sky_diffuse.w_m2() * diffuse.sky;
        let ground = light.ground.w_m2() * diffuse.ground;
        Irradiance::from_w_m2(beam + sky + ground)
    }

    /// Share of what reaches the cells that comes straight from the sun [-].
    pub(super) fn beam_share(&self, p: usize, light: &PlaneIrradiance, sun: &Sunlight) -> f64 {
        let cos = self.facing[p].cos_incidence(&sun.direction);
        let beam = light.beam.w_m2() * sky::incidence_modifier_at(cos);
        let all = self.effective(p, light, sun).w_m2();
        if all > 0.0 { beam / all } else { 0.0 }
    }

    fn rung(&self, p: usize, moment: &Moment, sky: &Sky, clear: PlaneIrradiance) -> Rung {
        let facing = &self.facing[p];
        let most = validity::most_in_plane(clear.total());
        let possible = |poa: Irradiance| poa.w_m2() <= most;
        if let Some((id, poa)) = sensor(moment, &self.plane_sensors[p], sky.lit_ratio, possible) {
            return Rung {
                irradiance: sky::split_under(poa, &sky.sunlight, facing),
                rung: WeatherRung::PlaneSensor,
                sigma: sigma::PLANE_SENSOR,
                sensor: Some(id),
            };
        }
        let Some(horizontal) = &sky.horizontal else {
            return Rung {
                irradiance: clear,
                rung: WeatherRung::ScaledClearSky,
                sigma: sigma::UNSCALED_CLEAR_SKY,
                sensor: None,
            };
        };
        let irradiance = self.on_plane(p, &horizontal.dome, &sky.sun);
        let diffuse = diffuse_share(&horizontal.components, &irradiance, facing, &sky.sunlight);
        let sigma = match horizontal.rung {
            WeatherRung::HorizontalWithDiffuse => sigma::horizontal_with_diffuse(diffuse),
            _ => sigma::horizontal_only(diffuse),
        };
        Rung {
            irradiance,
            rung: horizontal.rung,
            sigma,
            sensor: Some(horizontal.sensor),
        }
    }
}

/// The diffuse share on the ground, and what an error of it does to a plane: light taken from the
/// diffuse part, which a plane sees much as the ground does, goes to the beam, of which it sees R_b
/// times what the ground does.
fn diffuse_share(
    ground: &Components,
    plane: &PlaneIrradiance,
    facing: &Facing,
    sun: &Sunlight,
) -> DiffuseShare {
    let ghi = ground.ghi.w_m2().max(1.0);
    let seen = facing.cos_incidence(&sun.direction).max(0.0);
    let beam_ratio = seen / sun.direction.up.max(LEAST_COSINE);
    DiffuseShare {
        share: ground.diffuse_ratio(),
        stretch: (1.0 - beam_ratio).abs() * ghi / plane.total().w_m2().max(1.0),
    }
}

fn light_sigma(taken: &Rung, cos_incidence: f64) -> Sigma {
    if taken.sensor.is_none() {
        return taken.sigma;
    }
    let total = taken.irradiance.total().w_m2().max(1.0);
    let beam_ratio = taken.irradiance.beam.w_m2() / total;
    let oblique = sigma::OBLIQUE * beam_ratio * (cos_incidence.max(LEAST_COSINE).recip() - 1.0);
    let offset = sigma::SENSOR_OFFSET_W_M2 / total;
    taken.sigma.and(Sigma::new(0.0, oblique.hypot(offset)))
}
