//! How planes and inputs differ from what the site file says: slowly learned, bounded, reported.
//!
//! Model:   on a day, an input's current is  g_p g_i  times what the chain gives, its voltage
//!          v_i exp(b_i dT_p)  times. What the inputs of a plane share goes to the plane: the gain g_p
//!          of its light, by where the light comes from, and the offset dT_p of its cells, stated for
//!          the reference rise (`Heat::offset_weight`). What is left is the input's own: g_i, v_i.
//!          g_p = median_i(current_i / g_i);  g_i = current_i / g_p, where two or more inputs vouch
//!          for the plane. A lone input is its plane, within closer steps. Likewise for the voltage, v_i by
//!          bright slots, by which a day is judged too.
//!          Light that the inputs of the plane show has no gain of its own.
//! Symbols: gains and ratios dimensionless, dT_p [K], b relative change of the peak voltage per
//!          kelvin of offset (one-diode model) [1/K].
//! Range:   bounds of the rules below; days that may calibrate (`day`). Frozen for an input while a finding
//!          on it stands: its days are not added.
//! Source:  own; bounds are engineering judgement: a step is under half of the smallest fault that
//!          must be found, 4 % of current or one of sixty sections of voltage.
//! Check:   tests/acceptance/engine/calibration.rs; coverage.rs for the intervals.

mod day;
mod learned;
mod level;
mod slow;

pub use day::CalibrationSample;
pub use learned::{Learned, LearnedOf, SupplyNumber};
pub use level::Level;
pub use slow::Known;

use super::types::WeatherRung;
use crate::plant::Plant;
use crate::reading::{SolarDay, Span, median};
use day::{Bounds, DayMedian, Kept, VoltageMedian};
use level::OfInput;
use serde::{Deserialize, Serialize};
use slow::{Rule, Slow};
use std::collections::BTreeMap;

const LIGHT: Rule = Rule {
    neutral: 1.0,
    bound: 0.15,
    step: 0.05,
    more_is_better: true,
    usual_scatter: 0.006,
    drift: 0.003,
};
/// Of a plane with one input: nobody else vouches for it.
const LONE_LIGHT: Rule = Rule {
    step: 0.02,
    ..LIGHT
};
const OFFSET_K: Rule = Rule {
    neutral: 0.0,
    bound: 15.0,
    step: 4.0,
    more_is_better: false,
    usual_scatter: 0.5,
    drift: 0.2,
};
const LONE_OFFSET_K: Rule = Rule {
    step: 2.5,
    ..OFFSET_K
};
const CURRENT: Rule = Rule {
    neutral: 1.0,
    bound: 0.06,
    step: 0.018,
    more_is_better: true,
    usual_scatter: 0.0026,
    drift: 0.0015,
};
const VOLTAGE: Rule = Rule {
    neutral: 1.0,
    bound: 0.03,
    step: 0.007,
    more_is_better: true,
    usual_scatter: 0.0012,
    drift: 0.0008,
};

/// What is known about all planes and inputs of a plant.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Calibration {
    planes: Vec<PlaneCalibration>,
    /// By inverter, then by input.
    inputs: Vec<Vec<InputCalibration>>,
    today: Option<SolarDay>,
}

#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
struct PlaneCalibration {
    /// g_p by where the light comes from.
    light: BTreeMap<WeatherRung, Slow>,
    /// dT_p.
    offset_k: Slow,
    /// Of the day that ended last.
    level: Option<Level>,
    /// Whether the gain of the light stays as it is: dirt must not become what is expected.
    held: bool,
    /// How many inputs lie on it.
    inputs: usize,
}

#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
struct InputCalibration {
    plane: usize,
    bounds: Bounds,
    /// g_i.
    current: Slow,
    /// v_i.
    voltage: Slow,
    /// Of today; `None` once something was found wrong with the input today.
    samples: Option<Vec<Kept>>,
}

/// One learned number: its value, and its standard deviation once something is known.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factor {
    /// Its value, neutral where nothing is known.
    pub value: f64,
    /// One standard deviation of it.
    pub sigma: Option<f64>,
}

/// One of an input's own numbers: the last month, and the handover once it is final.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Own {
    /// Of the last thirty days that could teach.
    pub now: Option<Known>,
    /// Of the first fourteen.
    pub baseline: Option<Known>,
}

/// What the chain takes into account for one input in one slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Factors {
    /// g_p, on the light [-].
    pub light: Factor,
    /// dT_p, on the cell temperature [K].
    pub offset_k: Factor,
    /// g_i, on the current [-].
    pub current: Factor,
    /// v_i, on the voltage [-].
    pub voltage: Factor,
}

impl Calibration {
    /// Of a plant of which nothing is known beyond the site file.
    pub fn new(plant: &Plant) -> Self {
        let mut planes = vec![PlaneCalibration::default(); plant.planes.len()];
        for input in plant.inverters.iter().flat_map(|inverter| &inverter.inputs) {
            planes[input.plane()].inputs += 1;
        }
        let inverters = plant.inverters.iter();
        let inputs = inverters.map(|inverter| {
            let inputs = inverter.inputs.iter();
            inputs.map(|input| InputCalibration {
                plane: input.plane(),
                bounds: Bounds::of(plant, input),
                current: Slow::default(),
                voltage: Slow::default(),
                samples: Some(Vec::new()),
            })
        });
        Self {
            planes,
            inputs: inputs.map(Iterator::collect).collect(),
            today: None,
        }
    }

    /// What is known for an input in light of this kind.
    pub fn factors(&self, (i, k): (usize, usize), rung: WeatherRung) -> Factors {
        let input = &self.inputs[i][k];
        let plane = &self.planes[input.plane];
        let light = plane
            .light
            .get(&rung)
            .and_then(|s| s.now(plane.light_rule()));
        let factors = Factors {
            light: Factor::of(light, &LIGHT),
            offset_k: Factor::of(plane.offset_k.now(plane.offset_rule()), &OFFSET_K),
            current: Factor::of(input.current.now(&CURRENT), &CURRENT),
            voltage: Factor::of(input.voltage.now(&VOLTAGE), &VOLTAGE),
        };
        if plane.inputs > 1 {
            return factors;
        }
        // What is known of a lone input's plane holds its own part as well.
        let nothing_left = |of: Factor, own: Factor| Factor {
            sigma: of.sigma.map(|_| 0.0),
            ..own
        };
        Factors {
            current: nothing_left(factors.light, factors.current),
            voltage: nothing_left(factors.offset_k, factors.voltage),
            ..factors
        }
    }

    /// What an input's own current and voltage are beside the datasheet; `None` of an input that is
    /// alone on its plane, for what is known there is the plane's.
    pub fn own(&self, (i, k): (usize, usize)) -> Option<[Own; 2]> {
        let input = &self.inputs[i][k];
        let own = |slow: &Slow, rule| Own {
            now: slow.now(rule),
            baseline: slow.final_baseline(),
        };
        let beside = self.planes[input.plane].inputs > 1;
        beside.then(|| [own(&input.current, &CURRENT), own(&input.voltage, &VOLTAGE)])
    }

    /// Takes a valid slot of an input on which nothing stands, compared with the calibrated chain.
    pub fn add(&mut self, (i, k): (usize, usize), seen: CalibrationSample) {
        let known = self.factors((i, k), seen.rung);
        let shift = seen.voltage_per_offset_k * known.offset_k.value;
        if let Some(samples) = &mut self.inputs[i][k].samples {
            samples.push(Kept {
                rung: seen.rung,
                poa_w_m2: seen.poa_w_m2,
                current_ratio: seen.current_ratio * known.light.value * known.current.value,
                seen_voltage_ratio: seen.voltage_ratio,
                voltage_ln: (seen.voltage_ratio * known.voltage.value).ln() + shift,
                voltage_per_offset_k: seen.voltage_per_offset_k,
                beside_siblings: seen.beside_siblings,
            });
        }
    }

    /// Whether a day ends with this slot's day.
    pub fn is_new_day(&self, today: SolarDay) -> bool {
        self.today.is_some_and(|day| day < today)
    }

    /// Throws away what was seen today: time has gone back.
    pub fn forget_today(&mut self) {
        self.today = None;
        for input in self.inputs.iter_mut().flatten() {
            input.samples = Some(Vec::new());
        }
    }

    /// Forgets what was learned of light that is brought into a plane, and says what that may be: the
    /// plane was found to lie otherwise.
    pub fn forget_light(&mut self, p: usize) -> impl Iterator<Item = LearnedOf> + use<> {
        let is_brought = |rung: &WeatherRung| *rung != WeatherRung::PlaneSensor;
        self.planes[p].light.retain(|rung, _| !is_brought(rung));
        // Of an earlier run as well, of which nothing is left but what was kept.
        let brought = WeatherRung::ALL.into_iter().filter(is_brought);
        brought.map(move |rung| LearnedOf::Light(p, rung))
    }

    /// Throws today's slots of an input away: something was found wrong with it.
    pub fn distrust_today(&mut self, (i, k): (usize, usize)) {
        self.inputs[i][k].samples = None;
    }

    /// Learns from the day that has ended, if one has.
    pub fn close_day(&mut self, today: SolarDay, slot: Span) -> Option<SolarDay> {
        let day = self.today.replace(today).filter(|day| *day < today)?;
        for p in 0..self.planes.len() {
            self.learn(p, day, slot);
        }
        for input in self.inputs.iter_mut().flatten() {
            input.samples = Some(Vec::new());
        }
        Some(day)
    }

    /// The level of a plane on the day that ended last; `None` where its inputs said nothing of it.
    pub fn level(&self, p: usize) -> Option<Level> {
        self.planes[p].level
    }

    /// Keeps the gain of a plane's light as it is, or lets it learn again.
    pub fn hold_light(&mut self, p: usize, held: bool) {
        self.planes[p].held = held;
    }

    fn learn(&mut self, p: usize, day: SolarDay, slot: Span) {
        let of_day = |input: &InputCalibration| {
            let samples = input.samples.as_deref()?;
            DayMedian::of(samples, slot, input.bounds)
        };
        let on_plane = self.inputs.iter_mut().flatten().filter(|i| i.plane == p);
        let mut days: Vec<(DayMedian, &mut InputCalibration)> = on_plane
            .filter_map(|input| Some((of_day(input)?, input)))
            .collect();
        let own = |slow: &Slow, rule| Factor::of(slow.now(rule), rule).value;
        let of_inputs: Vec<OfInput> = days
            .iter()
            .map(|(day, input)| OfInput {
                rung: day.rung,
                ratio: day.current_ratio / own(&input.current, &CURRENT),
                may_calibrate: day.may_calibrate,
            })
            .collect();
        self.planes[p].level = Level::of(&of_inputs);
        // One kind of light for the whole plane, the best that may teach.
        let Some(level) = self.planes[p].level.filter(|level| level.may_calibrate) else {
            return;
        };
        days.retain(|(day, _)| day.may_calibrate && day.rung == level.rung);
        let (rung, current) = (level.rung, level.ratio);
        let offset_k = |of_day: fn(&DayMedian) -> VoltageMedian| {
            median(days.iter().map(|(day, input)| {
                let own_ln = own(&input.voltage, &VOLTAGE).ln();
                of_day(day).offset_k(own_ln)
            }))
        };
        let offsets = offset_k(|day| day.voltage).zip(offset_k(|day| day.bright));
        let Some((offset_k, bright_offset_k)) = offsets else {
            return;
        };
        let plane = &mut self.planes[p];
        // Who vouches today, not who could: a fault of the only one left would become the plane's.
        let vouch = days.len().min(plane.inputs);
        let (light_rule, offset_rule) = (light_rule(vouch), offset_rule(vouch));
        // Light that the inputs of the plane show has no gain of its own.
        if !plane.held && (rung.is_measured() || plane.inputs < 2) {
            let light = plane.light.entry(rung).or_default();
            light.take(day, current, light_rule);
        }
        plane.offset_k.take(day, offset_k, offset_rule);
        if days.len() < 2 {
            return;
        }
        for (of_day, input) in days {
            let own_ln = of_day.bright.own_ln(bright_offset_k);
            input
                .current
                .take(day, of_day.current_ratio / current, &CURRENT);
            input.voltage.take(day, own_ln.exp(), &VOLTAGE);
        }
    }
}

impl PlaneCalibration {
    fn light_rule(&self) -> &'static Rule {
        light_rule(self.inputs)
    }

    fn offset_rule(&self) -> &'static Rule {
        offset_rule(self.inputs)
    }
}

/// The rule of a plane's light, by how many inputs vouch for it.
fn light_rule(inputs: usize) -> &'static Rule {
    if inputs > 1 { &LIGHT } else { &LONE_LIGHT }
}

fn offset_rule(inputs: usize) -> &'static Rule {
    if inputs > 1 {
        &OFFSET_K
    } else {
        &LONE_OFFSET_K
    }
}

impl Factors {
    /// Of an input of which nothing is known beyond the site file.
    pub const UNKNOWN: Self = Self {
        light: Factor::unknown(&LIGHT),
        offset_k: Factor::unknown(&OFFSET_K),
        current: Factor::unknown(&CURRENT),
        voltage: Factor::unknown(&VOLTAGE),
    };

    /// The same without what is known of the light.
    pub fn without_light(self) -> Self {
        Self {
            light: Factor::unknown(&LIGHT),
            ..self
        }
    }
}

impl Factor {
    const fn unknown(rule: &Rule) -> Self {
        Self {
            value: rule.neutral,
            sigma: None,
        }
    }

    fn of(known: Option<Known>, rule: &Rule) -> Self {
        Self {
            value: known.map_or(rule.neutral, |known| known.value),
            sigma: known.map(|known| known.sigma),
        }
    }
}
