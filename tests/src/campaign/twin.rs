//! A drawn plant at work: light, heat, curves, and where its inverter sits on them.
//!
//! Model:   sky and clouds to the second; back of module G exp(a + b v) over air, cell a step above it,
//!          both following the light of each minute with one time constant; each string of sections
//!          that are stronger, weaker or shaded.
//! Symbols: light over 1000 W/m2 [-], temperatures [degC], times UTC
//! Range:   polls in order of time.
//! Source:  heat: King et al., SAND2004-3535 (from memory; the program under test uses another).
//! Check:   tests/campaign/work.rs: balance of energy, what faults do.

mod surroundings;

use super::clouds::{Clouds, Regime};
use super::fault::Fault;
use super::inject::{Act, Standing};
use super::inverter::{Mind, Work};
use super::plant_draw::DrawnPlant;
use super::sky::{self, Ground, OnPlane};
use super::string_curve::{Curve, Group};
use super::sun::Sun;
use super::supply::supply;
use super::truth::{TrueString, Truth};
use analysis::reading::{Span, Time};

/// Everything that is true at a time.
#[derive(Debug, Clone)]
pub struct Now {
    /// When.
    pub at: Time,
    /// Of the sun [deg].
    pub elevation_deg: f64,
    /// Global horizontal irradiance at the mast [W/m2].
    pub ghi_w_m2: f64,
    /// In each plane, at the mast [W/m2].
    pub poa_w_m2: Vec<f64>,
    /// What the cells of a plane make use of, without dirt and shade [W/m2].
    pub used_w_m2: Vec<f64>,
    /// Of each plane [degC].
    pub cell_degc: Vec<f64>,
    /// Air [degC] and wind [m/s].
    pub air_degc: f64,
    /// At the mast.
    pub wind_m_s: f64,
    /// Since the last poll.
    pub rain_mm: f64,
    /// What the inverter does.
    pub work: Work,
    /// Phases [V] and frequency [Hz].
    pub supply: ([f64; 3], f64),
    /// Insulation as measured this morning [ohm].
    pub insulation_ohm: f64,
    /// Current to earth [A].
    pub leak_a: f64,
    /// What the register of the power limit says.
    pub limit_register: f64,
}

/// The plant.
#[derive(Debug, Clone)]
pub struct Twin {
    truth: Truth,
    start: Time,
    fault: Option<Fault>,
    clouds: Clouds,
    /// Cell over air by plane [K].
    warm_k: Vec<f64>,
    last: Option<Time>,
    dirt: f64,
    dirt_day: i64,
    mind: Mind,
    insulation_ohm: f64,
}

const DAY_S: f64 = 86_400.0;

impl Twin {
    /// A plant with a fault or none.
    pub fn new(drawn: &DrawnPlant, fault: Option<Fault>) -> Self {
        let mut truth = drawn.truth.clone();
        if let Some(Fault {
            input: Some(k),
            act: Act::MoreStrings(more),
            ..
        }) = &fault
        {
            let strings = &mut truth.inputs[*k].strings;
            match more {
                1 => strings.push(strings[0]),
                _ => strings.truncate(strings.len() - 1),
            }
        }
        Self {
            clouds: Clouds::new(truth.seed, truth.climate),
            warm_k: vec![0.0; truth.planes.len()],
            start: drawn.start,
            insulation_ohm: truth.insulation.0,
            truth,
            fault,
            last: None,
            dirt: 0.0,
            dirt_day: 0,
            mind: Mind::new(drawn.plant.inverters[0].rated_ac.w()),
        }
    }

    /// The same plant at the same time, from now on without its fault.
    pub fn without_fault(&self) -> Self {
        Self {
            fault: None,
            ..self.clone()
        }
    }

    /// The truth about it.
    pub fn truth(&self) -> &Truth {
        &self.truth
    }

    /// The fault.
    pub fn fault(&self) -> Option<&Fault> {
        self.fault.as_ref()
    }

    /// What sky a day has, counted from the first.
    pub fn regime(&self, day: i64) -> Regime {
        self.clouds.regime(day)
    }

    /// Day and second of it, by the mean sun.
    fn day_of(&self, at: Time) -> (i64, f64) {
        let seconds = (at - self.start).seconds();
        (seconds.div_euclid(DAY_S) as i64, seconds.rem_euclid(DAY_S))
    }

    /// The plant at a time, not before the last.
    pub fn poll(&mut self, at: Time) -> Now {
        let fault = self.fault.clone();
        let standing = Standing::at(fault.as_ref(), at);
        let rain_mm = self.pass_until(at, &standing);
        let sun = Sun::at(at, self.truth.latitude_deg, self.truth.longitude_deg);
        let air_degc = self.air_degc(at);
        let clear = self.clear(&sun, at);
        let ground = self.ground(&sun, &clear, at, 0.0);
        let here: Vec<OnPlane> = self.planes(&ground, &sun);
        let used = |p: usize, on: &OnPlane| self.used(p, on, &sun).iter().sum::<f64>();
        let used_w_m2 = here.iter().enumerate().map(|(p, on)| used(p, on)).collect();
        let cell_degc: Vec<f64> = self.warm_k.iter().map(|k| air_degc + k).collect();
        let curves: Vec<Option<Curve>> = (0..self.truth.inputs.len())
            .map(|k| self.curve(k, &sun, &clear, at, &cell_degc, &standing))
            .collect();
        self.measure_insulation(at, &sun);
        let starts = standing.insulation(self.insulation_ohm, at).1;
        let limit = self.limit(at, &standing);
        let work = self
            .mind
            .work(&self.truth, &standing, &curves, at, starts, limit.0);
        let load = work.ac_w / self.mind.rated_w();
        Now {
            at,
            elevation_deg: sun.elevation_deg,
            ghi_w_m2: ground.ghi,
            poa_w_m2: here.iter().map(OnPlane::total).collect(),
            used_w_m2,
            cell_degc,
            air_degc,
            wind_m_s: self.wind_m_s(at),
            rain_mm,
            supply: supply(&self.truth, &standing, at, load),
            insulation_ohm: standing.insulation(self.insulation_ohm, at).0,
            leak_a: self.leak_a(&standing, at),
            limit_register: limit.1,
            work,
        }
    }

    /// Heat and dirt follow what has been since the last poll, minute by minute; rain since then [mm].
    fn pass_until(&mut self, at: Time, standing: &Standing) -> f64 {
        const STEP: Span = Span::from_min(1);
        let mut time = self.last.map_or(at, |last| last + STEP);
        while time <= at {
            self.warm(time);
            time = time + STEP;
        }
        self.last = Some(at);
        let (day, _) = self.day_of(at);
        let mut rain_mm = 0.0;
        while self.dirt_day < day {
            self.dirt_day += 1;
            // Rain of a day falls in the night before it; it ends a fault of dirt as well.
            rain_mm = self.clouds.rain_mm(self.dirt_day);
            if let (
                Some(Fault {
                    until: Some(until), ..
                }),
                Act::Soiling(..),
            ) = (
                &self.fault,
                self.fault.as_ref().map_or(&Act::Snow, |f| &f.act),
            ) {
                rain_mm = match self.day_of(*until).0 - self.dirt_day {
                    0 => 14.0,
                    1.. if standing.0.is_some() => 0.0,
                    _ => rain_mm,
                };
            }
            self.dirt += self.truth.soiling_per_day;
            if rain_mm > 5.0 {
                self.dirt *= 0.15;
            }
            // Where it hardly rains somebody washes.
            self.dirt = self.dirt.min(0.02);
        }
        rain_mm
    }

    /// Under the clouds that are here so many seconds before.
    fn ground(&mut self, sun: &Sun, clear: &Ground, at: Time, lag_s: f64) -> Ground {
        if sun.elevation_deg <= 0.0 {
            return Ground::default();
        }
        let (day, t_s) = self.day_of(at);
        self.clouds.under(day, t_s - lag_s, clear, sun.direction[2])
    }

    fn planes(&self, ground: &Ground, sun: &Sun) -> Vec<OnPlane> {
        let of = self.truth.planes.iter();
        of.map(|p| sky::on_plane(ground, sun, p.tilt, p.azimuth, p.albedo))
            .collect()
    }

    /// What the cells make use of: from the sun, and from all else [W/m2].
    fn used(&self, p: usize, on: &OnPlane, sun: &Sun) -> [f64; 2] {
        let plane = &self.truth.planes[p];
        let (sky, ground) = sky::diffuse_incidence(plane.tilt, plane.ar);
        let spectrum = sky::spectrum(sun.elevation_deg, self.truth.altitude_km);
        [
            on.beam * sky::incidence(on.cos_incidence, plane.ar) * spectrum,
            on.sky * sky + on.reflected * ground,
        ]
    }

    /// The curve of an input; nothing in the dark or where it is dead.
    fn curve(
        &mut self,
        k: usize,
        sun: &Sun,
        clear: &Ground,
        at: Time,
        cells: &[f64],
        standing: &Standing,
    ) -> Option<Curve> {
        const DARK_W_M2: f64 = 3.0;
        let ground = self.ground(sun, clear, at, self.truth.inputs[k].lag_s);
        let planes = self.planes(&ground, sun);
        let input = &self.truth.inputs[k];
        let through = standing.light(k, at) * (1.0 - self.dirt);
        let open = standing.open_strings(k);
        let mut curves = Vec::new();
        for (s, string) in input.strings.iter().enumerate().skip(open) {
            let used = self.used(string.plane, &planes[string.plane], sun);
            let (beam, diffuse) = (used[0] * through, used[1] * through);
            if beam + diffuse < DARK_W_M2 {
                return None;
            }
            let object = standing
                .object(k)
                .or(self.truth.planes[string.plane].object);
            let object = object.filter(|o| o.shades(sun.azimuth_deg, sun.elevation_deg));
            let shaded = object.map_or((0.0, 1.0), |o| (o.share, o.leaves));
            let lit = [beam + diffuse, beam * shaded.1 + diffuse];
            let (lost, ohm) = standing.on_string(k, s);
            let groups = self.groups(string, lit, shaded.0, cells[string.plane], lost);
            curves.push(Curve::series(&groups, string.cable_ohm + ohm));
        }
        let all: Vec<(&Curve, f64)> = curves.iter().map(|c| (c, 1.0)).collect();
        (!all.is_empty()).then(|| Curve::parallel(&all))
    }

    /// Sections in full light, weaker ones, and those in shade.
    fn groups(
        &self,
        string: &TrueString,
        lit: [f64; 2],
        shaded: f64,
        cell_degc: f64,
        lost: f64,
    ) -> Vec<Group> {
        let all = string.modules * self.truth.sections - lost;
        let in_shade = (all * shaded).round();
        let weak = ((all - in_shade) * string.weaker.0).round();
        let group = |count: f64, w_m2: f64, ratio: f64| Group {
            count,
            section: self
                .truth
                .section
                .at(w_m2 / 1000.0 * string.current_ratio * ratio, cell_degc),
            voltage_ratio: string.voltage_ratio,
            covered: None,
        };
        [
            group(all - in_shade - weak, lit[0], 1.0),
            group(weak, lit[0], 1.0 - string.weaker.1),
            group(in_shade, lit[1], 1.0),
        ]
        .into_iter()
        .filter(|g| g.count > 0.0)
        .collect()
    }
}
