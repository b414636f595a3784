//! Closing a slot: weather to expected values, measured against them, verdicts into the book.
//! Never in here: single polls; what a window of slots means (`inputs`).

use super::Engine;
use super::light::Lights;
use crate::array::Limit;
use crate::detect::{
    Gate, GateFacts, InputSlot, InverterSlot, PlaneSlot, Poll, Residual, Slot, gate, residual,
};
use crate::expected::shade::Shade;
use crate::expected::{Light, PlaneLight, Prediction, TypicalEnergy};
use crate::plant::{Inverter, State};
use crate::reading::{ChannelId, Current, Power, SlotMeans, SolarDay, Span, Time, Voltage};

/// A start needs this long until the array is at its peak.
const SETTLING: Span = Span::from_min(10);
/// Sun elevation from which it is light where nothing measures light that does not itself depend on
/// the inverters [deg]; even under thick cloud it is enough to work.
const DAYLIGHT_ELEVATION_DEG: f64 = 10.0;

/// After a longer gap than this nothing is to be learnt from its empty slots.
const LONGEST_CATCH_UP: Span = Span::from_h(72);

/// Times of the slot being closed.
#[derive(Clone, Copy)]
pub(super) struct When {
    pub start: Time,
    pub end: Time,
    pub day: SolarDay,
}

/// One input in the slot being closed.
pub(super) struct InputNow {
    pub slot: InputSlot,
    pub prediction: Option<Prediction>,
    /// The same without the shade that is known, where there is any.
    pub unshaded: Option<Prediction>,
    /// Only where the gate is valid.
    pub residual: Option<Residual>,
    /// Energy missing against expected, on the AC side, and not charged to a string [Wh].
    pub missing_wh: f64,
}

/// One inverter in the slot being closed.
pub(super) struct InverterNow {
    pub facts: InverterFacts,
    pub inputs: Vec<InputNow>,
    /// Which limit acts on it as a whole.
    pub limit: Option<Limit>,
    pub expected_ac: Option<Power>,
    /// What known shade takes of it.
    shade_ac: Option<Power>,
    /// What it would probably have made, where it stands still and nothing shows the light.
    pub typical: Option<TypicalEnergy>,
}

/// What the slot says about an inverter as a whole.
pub(super) struct InverterFacts {
    pub ac_power_w: Option<f64>,
    pub highest_ac_w: Option<f64>,
    pub load_ratio: Option<f64>,
    pub producing: Option<bool>,
    /// Whether its state says that it was stopped, by a fault or by hand.
    pub stopped: bool,
    pub throttled: bool,
    pub power_limit_ratio: Option<f64>,
    settled: bool,
}

impl Engine {
    /// Closes every slot that ends at or before `until`.
    pub(super) fn close_slots_until(&mut self, until: Time) -> Vec<Slot> {
        let span = self.plant.timing.slot;
        let mut slots = Vec::new();
        while let Some(means) = self.state.filling.take_if(|m| m.start + span <= until) {
            slots.push(self.close_slot(&means));
            let next = means.start + span;
            let is_gap = until - next > LONGEST_CATCH_UP;
            let start = if is_gap { until.slot_start(span) } else { next };
            self.state.filling = Some(SlotMeans::new(start));
            self.state.before = Some(means);
        }
        slots
    }

    fn close_slot(&mut self, means: &SlotMeans) -> Slot {
        let span = self.plant.timing.slot;
        let middle = means.start + span.half();
        let day = middle.solar_day(self.plant.site.longitude.deg());
        let when = When {
            start: means.start,
            end: means.start + span,
            day,
        };
        self.close_own_days_before(when);
        self.distrust_low_days(day);
        if let Some(ended) = self.state.calibration.close_day(day, span) {
            self.close_plane_days(ended, when);
            self.close_surveys(ended);
            let gone = &self.forgotten;
            self.learned.retain(|learned| !gone.contains(&learned.of));
            self.learned.extend(self.state.calibration.learned());
            self.learned.extend(self.oriented());
        }
        let Lights {
            light,
            by_sky,
            contradicted,
        } = self.light(means);
        self.remember_frost(means.start, &light);
        let plant = self.plant.clone();
        let inverters = plant.inverters.iter().enumerate();
        let mut now: Vec<InverterNow> = inverters
            .map(|(i, inverter)| self.inverter_now(i, inverter, &light, means))
            .collect();
        for (i, inverter) in now.iter_mut().enumerate() {
            self.compare_with_clear_sky(i, when, &light, inverter);
        }
        let frost = self.frost(when.start, light.air);
        // First what stood before this slot: a new finding brings its own loss along.
        for (i, inverter) in now.iter_mut().enumerate() {
            for k in 0..inverter.inputs.len() {
                let taken = self.charge_strings((i, k), when, inverter, (&light, means));
                let input = &mut inverter.inputs[k];
                input.missing_wh = (input.missing_wh - taken.wh()).max(0.0);
            }
            self.add_lost(i, when, inverter);
        }
        for (i, inverter) in now.iter().enumerate() {
            for k in 0..inverter.inputs.len() {
                self.judge_strings((i, k), when, &light, frost);
                self.judge_input((i, k), when, &now, &light, frost);
            }
            let daylight = self.is_daylight(i, &light);
            if daylight {
                self.judge_standstill(i, when, &now, frost);
            }
            self.remember_inverter(i, when, &inverter.facts, daylight);
        }
        self.watch_own_days(when, &now, (&light, &by_sky), means);
        self.watch_measuring(when, &light, &now, means, &contradicted);
        self.survey(&light, &now);
        self.see_planes(&light);
        self.state.book.end_due();
        let plane = |p: &Option<PlaneLight>| PlaneSlot {
            poa: p.map(|p| (p.poa, p.rung)),
            cell: p.map(|p| p.heat.cell),
        };
        Slot {
            start: means.start,
            span,
            air: light.air,
            wind: light.wind,
            planes: light.planes.iter().map(plane).collect(),
            inverters: now.into_iter().map(InverterNow::into_slot).collect(),
        }
    }

    fn inverter_now(
        &self,
        i: usize,
        inverter: &Inverter,
        light: &Light,
        means: &SlotMeans,
    ) -> InverterNow {
        let facts = self.inverter_facts(i, means, inverter);
        let mut inputs: Vec<InputNow> = (0..inverter.inputs.len())
            .map(|k| self.input_now(i, k, light, means, &facts))
            .collect();
        let limit = self.name_limits(i, means, &facts, &mut inputs);
        let expected_ac = expected_ac(inverter, inputs.iter().map(|i| i.prediction.as_ref()));
        let is_shaded = inputs.iter().any(|input| input.unshaded.is_some());
        let open = inputs.iter().map(InputNow::without_shade);
        let open_ac = is_shaded
            .then(|| self::expected_ac(inverter, open))
            .flatten();
        let shade_ac = expected_ac.zip(open_ac);
        let shade_ac = shade_ac.map(|(e, open)| Power::from_w((open.w() - e.w()).max(0.0)));
        let slot = self.plant.timing.slot;
        bound_missing(&mut inputs, expected_ac, facts.ac_power_w, slot);
        InverterNow {
            facts,
            inputs,
            limit,
            expected_ac,
            shade_ac,
            typical: None,
        }
    }

    fn remember_inverter(&mut self, i: usize, when: When, facts: &InverterFacts, lit: bool) {
        let slot = self.plant.timing.slot;
        // What comes after a recording's last row is no silence.
        let last = self.state.last_reading.filter(|_| self.is_ending);
        let until = last.map_or(when.end, |last| when.end.min(last));
        let watched = &mut self.state.inverters[i];
        // First as a poll would be asked, so that it does not matter when somebody looked.
        let at_work = watched.was_working.then(|| watched.link.silence(until));
        watched.lit_since = lit.then(|| watched.lit_since.unwrap_or(when.start));
        let since = watched.lit_since.filter(|_| until == when.end);
        let in_light = since.and_then(|since| watched.link.lit_slot(when.start, slot, since));
        watched.producing_for = match facts.producing {
            Some(true) => watched.producing_for + slot,
            _ => Span::ZERO,
        };
        let device = self.plant.inverters[i].id.clone();
        self.book_link(&device, at_work.flatten().into_iter().chain(in_light));
    }

    pub(super) fn inverter_facts(
        &self,
        i: usize,
        means: &SlotMeans,
        inverter: &Inverter,
    ) -> InverterFacts {
        let channels = &self.roles.inverters[i];
        let stat = |id: Option<ChannelId>| id.and_then(|id| means.get(id));
        let ac_power_w = stat(channels.ac_power).map(|s| s.mean);
        let load_ratio = ac_power_w.map(|w| w / inverter.rated_ac.w());
        let state = stat(channels.state);
        let poll = |state| Poll {
            state,
            load_ratio,
            ..Poll::default()
        };
        let producing = match state {
            // In every poll of the slot, from the lowest state number to the highest.
            Some(s) => {
                let both = [s.min, s.max].map(|n| poll(State::from_number(n)).is_producing());
                Some(both == [Some(true); 2])
            }
            None => poll(None).is_producing(),
        };
        InverterFacts {
            ac_power_w,
            highest_ac_w: stat(channels.ac_power).map(|s| s.max),
            load_ratio,
            producing,
            stopped: [State::Off, State::Fault]
                .iter()
                .any(|stop| state.is_some_and(|s| s.last == f64::from(*stop as u8))),
            settled: self.state.inverters[i].producing_for >= SETTLING,
            throttled: state.is_some_and(|s| s.max == f64::from(State::Throttled as u8)),
            power_limit_ratio: stat(channels.power_limit).map(|s| s.mean),
        }
    }

    fn input_now(
        &self,
        i: usize,
        k: usize,
        light: &Light,
        means: &SlotMeans,
        facts: &InverterFacts,
    ) -> InputNow {
        let model = &self.chain.inputs[i][k];
        let shade = self.shade((i, k), light);
        let predict = |shade| self.predict(i, k, light, shade);
        let (prediction, unshaded) = if shade.is_none() {
            (predict(shade), None)
        } else {
            (predict(shade), predict(Shade::NONE))
        };
        let point = self.operating_point(i, k, means);
        // Where shade has gone, the voltage is higher than in it: nothing holds the input back.
        let open = unshaded.as_ref().or(prediction.as_ref());
        let facts = gate_facts(light, model.plane, facts, point, open);
        let verdict = gate(&facts, &self.plant.inverters[i].inputs[k]);
        let both = prediction.as_ref().zip(point);
        let compared = both.map(|(p, (v, a))| residual(p, v, a));
        let missing_w = both.map_or(0.0, |(p, (v, a))| (p.power().w() - v * a).max(0.0));
        InputNow {
            slot: InputSlot {
                voltage: point.map(|p| Voltage::from_v(p.0)),
                current: point.map(|p| Current::from_a(p.1)),
                expected: prediction.as_ref().map(|p| p.expected),
                gate: verdict,
                limit: None,
            },
            residual: compared.filter(|_| verdict == Gate::Valid),
            prediction,
            unshaded,
            missing_wh: missing_w * self.plant.timing.slot.hours(),
        }
    }

    fn is_lit(&self, i: usize, light: &Light) -> bool {
        let lit =
            |p: usize| light.planes[p].is_some_and(|p| p.poa.w_m2() >= crate::detect::MIN_POA_W_M2);
        self.chain.inputs[i].iter().any(|input| lit(input.plane))
    }

    /// Whether an inverter that works would produce. What other inverters show of the light goes out
    /// with them, so a plant without a sensor asks the sun.
    fn is_daylight(&self, i: usize, light: &Light) -> bool {
        let by_sensor = |p: usize| light.planes[p].is_some_and(|p| p.rung.is_measured());
        let elevation_deg = light.sun.apparent_elevation_deg();
        if self.chain.inputs[i]
            .iter()
            .any(|input| by_sensor(input.plane))
        {
            self.is_lit(i, light)
        } else {
            elevation_deg >= DAYLIGHT_ELEVATION_DEG
        }
    }
}

fn gate_facts(
    light: &Light,
    plane: usize,
    facts: &InverterFacts,
    point: Option<(f64, f64)>,
    prediction: Option<&Prediction>,
) -> GateFacts {
    let plane = light.planes[plane].as_ref();
    GateFacts {
        poa_w_m2: plane.map(|p| p.poa.w_m2()),
        elevation_deg: light.sun.apparent_elevation_deg(),
        incidence_deg: plane.map_or(90.0, |p| p.incidence.deg()),
        unsteady_ratio: plane.map_or(0.0, |p| p.unsteady_ratio),
        producing: facts.producing.map(|producing| producing && facts.settled),
        throttled: facts.throttled,
        load_ratio: facts.load_ratio,
        power_limit_ratio: facts.power_limit_ratio,
        voltage_v: point.map(|p| p.0),
        current_a: point.map(|p| p.1),
        expected: prediction.map(|p| p.expected),
    }
}

fn expected_ac<'a>(
    inverter: &Inverter,
    inputs: impl Iterator<Item = Option<&'a Prediction>>,
) -> Option<Power> {
    let dc: Option<f64> = inputs.map(|p| p.map(|p| p.power().w())).sum();
    Some(inverter.ac_from_dc(Power::from_w(dc?)))
}

impl InverterFacts {
    /// Whether it has produced long enough to be where it means to be.
    pub fn is_settled(&self) -> bool {
        self.settled && self.producing == Some(true)
    }
}

impl InputNow {
    /// What it should do were there no shade.
    pub fn without_shade(&self) -> Option<&Prediction> {
        self.unshaded.as_ref().or(self.prediction.as_ref())
    }
}

impl InverterNow {
    fn into_slot(self) -> InverterSlot {
        InverterSlot {
            ac_power: self.facts.ac_power_w.map(Power::from_w),
            expected_ac_power: self.expected_ac,
            shade_ac_power: self.shade_ac,
            limit: self.limit,
            producing: self.facts.producing,
            inputs: self.inputs.into_iter().map(|input| input.slot).collect(),
        }
    }
}

/// From the DC side to the AC side. What inputs miss is lost only as far as the inverter could have
/// passed it on: above its rated power nothing is.
fn bound_missing(
    inputs: &mut [InputNow],
    expected_ac: Option<Power>,
    ac_power_w: Option<f64>,
    slot: Span,
) {
    let expected_dc_w = |input: &InputNow| input.prediction.as_ref().map_or(0.0, |p| p.power().w());
    let all_expected_w: f64 = inputs.iter().map(expected_dc_w).sum();
    let all_missing_wh: f64 = inputs.iter().map(|input| input.missing_wh).sum();
    let Some(expected) = expected_ac.filter(|_| all_expected_w > 0.0 && all_missing_wh > 0.0)
    else {
        return;
    };
    let through = expected.w() / all_expected_w;
    let most_w = ac_power_w.map(|measured| (expected.w() - measured).max(0.0));
    let most = most_w.map_or(f64::INFINITY, |w| {
        (Power::from_w(w) * slot).wh() / all_missing_wh
    });
    for input in inputs {
        input.missing_wh *= through.min(most);
    }
}
