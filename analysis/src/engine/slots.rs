//! Closing a slot: weather to expected values, measured against them, verdicts into the book.
//! Never in here: single polls.

use super::Engine;
use super::state::InverterState;
use crate::detect::{
    Gate, GateFacts, InputSlot, InverterSlot, Kind, PlaneSlot, Poll, Residual, Sample, Slot,
    common_factor, gate, residual,
};
use crate::diagnose::hypotheses::{self, Context, Hypothesis};
use crate::diagnose::{Subject, explain};
use crate::expected::{CalibrationSample, Light, Prediction, WeatherRung, scale_to_own_inputs};
use crate::plant::{Inverter, State};
use crate::reading::{
    ChannelId, Current, Energy, Power, SlotMeans, SolarDay, Span, Temperature, Time, Voltage,
};

/// A start needs this long until the array is at its peak.
const SETTLING: Span = Span::from_min(10);
/// Irradiance above which a slot may calibrate [W/m2].
const CALIBRATING_POA_W_M2: f64 = 250.0;
/// Frost is remembered this long.
const FROST_KEPT: Span = Span::from_h(36);
/// At or below this temperature water freezes on modules; above the second it does not stay.
const FROST_DEGC: f64 = 1.5;
const THAW_DEGC: f64 = 8.0;
/// Light and samples that a verdict on a dead input and on any other cause need.
const DEAD_AFTER: (Span, usize) = (Span::from_min(15), 2);
const OTHER_AFTER: (Span, usize) = (Span::from_min(30), 4);
/// Probability at which a verdict is said, and at which a finding ends.
const SAY: f64 = 0.95;
const END: f64 = 0.9;
/// Lit time without output until covered modules or an inverter that is off are said.
const COVERED_AFTER: Span = Span::from_h(1);
const OFF_AFTER: Span = Span::from_h(2);
/// Lit time after which a sleeping inverter should have answered.
const AWAKE_AFTER: Span = Span::from_min(30);

/// The findings that a window of samples can make; one of them stands at a time.
const WINDOW_KINDS: [Kind; 3] = [Kind::InputDead, Kind::StringOpen, Kind::Snow];

/// One input in the slot being closed.
struct InputNow {
    slot: InputSlot,
    prediction: Option<Prediction>,
    residual: Option<Residual>,
    missing_wh: f64,
}

/// Times of the slot being closed.
#[derive(Clone, Copy)]
struct When {
    start: Time,
    end: Time,
    day: SolarDay,
}

impl Engine {
    /// Closes every slot that ends at or before `until`.
    pub(super) fn close_slots_until(&mut self, until: Time) -> Vec<Slot> {
        let span = self.plant.timing.slot;
        let mut slots = Vec::new();
        while let Some(means) = self.state.filling.take_if(|m| m.start + span <= until) {
            slots.push(self.close_slot(&means));
            self.state.filling = Some(SlotMeans::new(means.start + span));
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
        let light = self.light(middle, means);
        self.remember_frost(means.start, &light);
        let mut inverters = Vec::with_capacity(self.plant.inverters.len());
        for i in 0..self.plant.inverters.len() {
            inverters.push(self.close_inverter(i, when, &light, means));
        }
        let plane = |p: &Option<_>| match p {
            Some::<crate::expected::PlaneLight>(p) => PlaneSlot {
                poa: Some((p.poa, p.rung)),
                cell: Some(p.cell),
            },
            None => PlaneSlot {
                poa: None,
                cell: None,
            },
        };
        let planes = light.planes.iter().map(plane).collect();
        Slot {
            start: means.start,
            span,
            planes,
            inverters,
        }
    }

    fn light(&self, middle: Time, means: &SlotMeans) -> Light {
        let timing = &self.plant.timing;
        let empty = SlotMeans::new(means.start - timing.slot);
        let before = self
            .state
            .before
            .as_ref()
            .filter(|b| b.start == empty.start);
        let sync = timing.sync.seconds() / timing.slot.seconds();
        let mut light = self
            .ladder
            .light(middle, means, before.unwrap_or(&empty), sync);
        let needs_inputs = |p: &Option<crate::expected::PlaneLight>| {
            p.is_some_and(|p| p.rung == WeatherRung::OwnInputs)
        };
        if light.planes.iter().any(needs_inputs) {
            let best = self.best_ratio_by_plane(&light, means);
            scale_to_own_inputs(&mut light, &best);
        }
        light
    }

    /// The largest share of the clear sky that an input of each plane shows.
    fn best_ratio_by_plane(&self, light: &Light, means: &SlotMeans) -> Vec<Option<f64>> {
        let mut best = vec![None; light.planes.len()];
        for (i, inputs) in self.chain.inputs.iter().enumerate() {
            for (k, model) in inputs.iter().enumerate() {
                let calibration = &self.state.inverters[i].inputs[k].calibration;
                let point = self.operating_point(i, k, means);
                let prediction = self.chain.predict(model, light, calibration);
                let (Some((volts, amps)), Some(prediction)) = (point, prediction) else {
                    continue;
                };
                let (curve, _) = prediction.curve_at(volts);
                // Right of the clear-sky peak the curve is steep: the peak is the better measure.
                let reference = curve.max(0.9 * prediction.expected.current.a());
                let share = (amps / reference).max(0.0);
                let entry: &mut Option<f64> = &mut best[model.plane];
                *entry = Some(entry.map_or(share, |b| b.max(share)));
            }
        }
        best
    }

    fn operating_point(&self, i: usize, k: usize, means: &SlotMeans) -> Option<(f64, f64)> {
        let channels = &self.roles.inverters[i].inputs[k];
        let mean = |id: Option<ChannelId>| id.and_then(|id| means.get(id)).map(|s| s.mean);
        let volts = mean(channels.voltage)?;
        let from_power = || {
            (volts > 1.0)
                .then(|| mean(channels.power).map(|w| w / volts))
                .flatten()
        };
        let amps = mean(channels.current).or_else(from_power)?;
        Some((volts, amps))
    }

    fn remember_frost(&mut self, start: Time, light: &Light) {
        let from_sensor =
            |p: &crate::expected::PlaneLight| p.cell_from_air.is_none().then_some(p.cell);
        let cells = light.planes.iter().flatten().filter_map(from_sensor);
        let coldest = light
            .air
            .into_iter()
            .chain(cells)
            .map(Temperature::degc)
            .reduce(f64::min);
        if coldest.is_some_and(|t| t <= FROST_DEGC) {
            self.state.last_frost = Some(start);
        }
    }

    fn is_frosty(&self, now: Time, air: Option<Temperature>) -> bool {
        let lately = self.state.last_frost.is_some_and(|t| now - t <= FROST_KEPT);
        lately && air.is_none_or(|air| air.degc() < THAW_DEGC)
    }

    fn close_inverter(
        &mut self,
        i: usize,
        when: When,
        light: &Light,
        means: &SlotMeans,
    ) -> InverterSlot {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[i];
        let facts = self.inverter_facts(i, means, inverter);
        let inputs: Vec<InputNow> = (0..inverter.inputs.len())
            .map(|k| self.input_now(i, k, light, means, &facts))
            .collect();
        let frosty = self.is_frosty(when.start, light.air);
        for k in 0..inverter.inputs.len() {
            self.judge_input(i, k, when, &inputs, light, frosty);
        }
        let lit = self.is_lit(i, light);
        self.judge_standstill(i, when, &inputs, &facts, lit, frosty);
        self.add_lost(inverter, &inputs, &facts);
        let span = plant.timing.slot;
        let watched = &mut self.state.inverters[i];
        watched.lit_for = if lit {
            watched.lit_for + span
        } else {
            Span::ZERO
        };
        watched.producing_for = if facts.producing == Some(true) {
            watched.producing_for + span
        } else {
            Span::ZERO
        };
        if watched.lit_for >= AWAKE_AFTER && watched.is_asleep {
            let edge = watched.link.silence(when.end, false);
            self.book_link(&inverter.id, edge);
        }
        InverterSlot {
            ac_power: facts.ac_power_w.map(Power::from_w),
            expected_ac_power: expected_ac(inverter, &inputs),
            inputs: inputs.into_iter().map(|input| input.slot).collect(),
        }
    }

    fn inverter_facts(&self, i: usize, means: &SlotMeans, inverter: &Inverter) -> InverterFacts {
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
            load_ratio,
            producing,
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
        let calibration = &self.state.inverters[i].inputs[k].calibration;
        let prediction = self.chain.predict(model, light, calibration);
        let plane = light.planes[model.plane].as_ref();
        let point = self.operating_point(i, k, means);
        let elevation_deg = 90.0 - light.sun.apparent_zenith.deg();
        let verdict = gate(
            &GateFacts {
                poa_w_m2: plane.map(|p| p.poa.w_m2()),
                elevation_deg,
                incidence_deg: plane.map_or(90.0, |p| p.incidence.deg()),
                unsteady_ratio: plane.map_or(0.0, |p| p.unsteady_ratio),
                // Nothing tells whether it is connected: the currents themselves will.
                producing: facts.producing.map(|p| p && facts.settled),
                throttled: facts.throttled,
                load_ratio: facts.load_ratio,
                power_limit_ratio: facts.power_limit_ratio,
                voltage_v: point.map(|p| p.0),
                current_a: point.map(|p| p.1),
                expected: prediction
                    .as_ref()
                    .map(|p| (p.expected.voltage.v(), p.expected.current.a())),
            },
            &self.plant.inverters[i].inputs[k],
        );
        let rated = model.rated_current_a;
        let compared = prediction
            .as_ref()
            .zip(point)
            .map(|(p, (v, a))| residual(p, v, a, rated));
        let missing_w = prediction
            .as_ref()
            .zip(point)
            .map_or(0.0, |(p, (v, a))| (p.power().w() - v * a).max(0.0));
        InputNow {
            slot: InputSlot {
                voltage: point.map(|p| Voltage::from_v(p.0)),
                current: point.map(|p| Current::from_a(p.1)),
                expected: prediction.as_ref().map(|p| p.expected),
                gate: verdict,
            },
            residual: compared.filter(|_| verdict == Gate::Valid),
            prediction,
            missing_wh: missing_w * self.plant.timing.slot.hours(),
        }
    }

    fn judge_input(
        &mut self,
        i: usize,
        k: usize,
        when: When,
        inputs: &[InputNow],
        light: &Light,
        frosty: bool,
    ) {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[i];
        let subject = Subject::input(&inverter.id, inverter.inputs[k].number);
        let slot = plant.timing.slot;
        self.close_day(i, k, &subject, when);
        let Some(own) = inputs[k].residual else {
            return;
        };
        let plane = self.chain.inputs[i][k].plane;
        let siblings = self.siblings(i, k, inputs);
        let (factor, common) = common_factor(own.common, &siblings);
        let sample = Sample {
            start: when.start,
            ratio: own.ratio / factor,
            own: own.own,
            common,
            voltage_ratio: own.voltage_ratio,
            voltage_sigma: own.voltage_sigma,
            missing_wh: inputs[k].missing_wh,
        };
        let strings = inverter.inputs[k].strings.len() as u8;
        let state = &mut self.state.inverters[i].inputs[k];
        state.window.push(when.day, sample);
        let context = Context {
            strings,
            frost: frosty,
            loss_at_first_light: state.window.first_ratio_of_day().is_some_and(|r| r < 0.9),
        };
        let dead = state.window.latest(DEAD_AFTER.0, slot, DEAD_AFTER.1);
        let other = state.window.latest(OTHER_AFTER.0, slot, OTHER_AFTER.1);
        let is_dead = |ranked: &[(Hypothesis, f64)]| ranked[0].0 == Hypothesis::Dead;
        let verdict = dead
            .map(|w| hypotheses::compare(&w, context))
            .filter(|ranked| is_dead(ranked))
            .or_else(|| other.map(|w| hypotheses::compare(&w, context)));
        if let Some(ranked) = verdict {
            self.act_on(i, k, &subject, strings, when, &ranked);
        }
        let stands = WINDOW_KINDS
            .iter()
            .any(|kind| self.state.book.stands(&subject, *kind));
        let state = &mut self.state.inverters[i].inputs[k];
        if stands {
            state.calibration.distrust_today();
        } else {
            state.daily.add(when.day, sample);
            let bright = light.planes[plane].is_some_and(|p| p.poa.w_m2() >= CALIBRATING_POA_W_M2);
            if bright && inputs[k].prediction.is_some() {
                let raw = CalibrationSample {
                    current_ratio: own.ratio * state.calibration.gain(),
                    voltage_ratio: own.voltage_ratio * state.calibration.voltage_ratio(),
                };
                state.calibration.add(when.day, raw);
            }
        }
    }

    fn siblings(&self, i: usize, k: usize, inputs: &[InputNow]) -> Vec<Residual> {
        let plane = self.chain.inputs[i][k].plane;
        let inverter = &self.plant.inverters[i];
        let vouches = |j: usize| {
            let subject = Subject::input(&inverter.id, inverter.inputs[j].number);
            self.chain.inputs[i][j].plane == plane
                && !WINDOW_KINDS
                    .iter()
                    .any(|kind| self.state.book.stands(&subject, *kind))
        };
        (0..inputs.len())
            .filter(|j| *j != k && vouches(*j))
            .filter_map(|j| inputs[j].residual)
            .collect()
    }

    fn act_on(
        &mut self,
        i: usize,
        k: usize,
        subject: &Subject,
        strings: u8,
        when: When,
        ranked: &[(Hypothesis, f64)],
    ) {
        let (what, probability) = ranked[0];
        if what == Hypothesis::Healthy && probability >= END {
            for kind in WINDOW_KINDS {
                self.state.book.end(subject, kind, when.start);
            }
        }
        let boundary = match what {
            Hypothesis::Healthy | Hypothesis::Other => return,
            Hypothesis::Dead => 0.1,
            Hypothesis::StringsOpen(n) => 1.0 - f64::from(n) / (2.0 * f64::from(strings)),
            Hypothesis::Covered => 0.9,
        };
        if probability < SAY {
            return;
        }
        // It began with the first of the latest samples that lie on its side.
        let window = &self.state.inverters[i].inputs[k].window;
        let mut since: Vec<Sample> = window
            .samples()
            .rev()
            .take_while(|s| s.ratio < boundary)
            .copied()
            .collect();
        since.reverse();
        let Some(new) = explain::input_window(subject.clone(), strings, when.end, &since, ranked)
        else {
            return;
        };
        for other in WINDOW_KINDS.into_iter().filter(|other| *other != new.kind) {
            self.state.book.end(subject, other, new.began);
        }
        self.state.book.open(new);
    }

    fn close_day(&mut self, i: usize, k: usize, subject: &Subject, when: When) {
        let plant = self.plant.clone();
        let slot = plant.timing.slot;
        let input = &plant.inverters[i].inputs[k];
        let tolerance = input
            .strings
            .iter()
            .map(|s| plant.modules[s.module].power_tolerance_ratio);
        let tolerance = tolerance.fold(0.0, f64::max);
        let state = &mut self.state.inverters[i].inputs[k];
        state
            .calibration
            .close_day(when.day, slot.hours(), tolerance);
        let Some(loss) = state.daily.close_day(when.day, slot) else {
            return;
        };
        let suspicion = state.daily.suspicion();
        if loss.is_recovered() {
            self.state.book.end(subject, Kind::CurrentLow, loss.began);
        }
        let new = suspicion.and_then(|d| explain::current_low(subject.clone(), when.start, &d));
        if let Some(new) = new {
            self.state.book.open(new);
        }
    }

    fn is_lit(&self, i: usize, light: &Light) -> bool {
        let lit =
            |p: usize| light.planes[p].is_some_and(|p| p.poa.w_m2() >= crate::detect::MIN_POA_W_M2);
        self.chain.inputs[i].iter().any(|input| lit(input.plane))
    }

    fn judge_standstill(
        &mut self,
        i: usize,
        when: When,
        inputs: &[InputNow],
        facts: &InverterFacts,
        lit: bool,
        frosty: bool,
    ) {
        let known = facts.producing.is_some();
        if !lit || !known {
            return;
        }
        let plant = self.plant.clone();
        let inverter = &plant.inverters[i];
        let device = Subject::device(&inverter.id);
        let produced = facts.producing == Some(true);
        if produced {
            self.state.book.end(&device, Kind::InverterOff, when.start);
            self.state.book.end(&device, Kind::Snow, when.start);
        }
        let expected_wh: f64 = inputs.iter().map(|input| input.missing_wh).sum();
        let watch: &mut InverterState = &mut self.state.inverters[i];
        let slot = plant.timing.slot;
        let still = watch
            .standstill
            .lit_slot(when.start, slot, produced, expected_wh);
        // A trip or an isolation fault explains why it stands still.
        let explained = [Kind::GridTrip, Kind::IsolationLow]
            .iter()
            .any(|kind| self.state.book.stands(&device, *kind));
        let Some(still) = still.filter(|_| !explained) else {
            return;
        };
        let enough = if frosty { COVERED_AFTER } else { OFF_AFTER };
        if still.light >= enough {
            self.state
                .book
                .open(explain::standstill(&inverter.id, when.end, &still, frosty));
        }
    }

    fn add_lost(&mut self, inverter: &Inverter, inputs: &[InputNow], facts: &InverterFacts) {
        let counts = |input: &InputNow| !matches!(input.slot.gate, Gate::Limited | Gate::NoWeather);
        let mut all_wh = 0.0;
        for (input, of) in inputs
            .iter()
            .zip(&inverter.inputs)
            .filter(|(now, _)| counts(now))
        {
            all_wh += input.missing_wh;
            let subject = Subject::input(&inverter.id, of.number);
            for kind in [
                Kind::InputDead,
                Kind::StringOpen,
                Kind::Snow,
                Kind::CurrentLow,
            ] {
                self.state
                    .book
                    .add_lost(&subject, kind, Energy::from_wh(input.missing_wh));
            }
        }
        if facts.producing == Some(true) {
            return;
        }
        let device = Subject::device(&inverter.id);
        for kind in [
            Kind::InverterOff,
            Kind::Snow,
            Kind::GridTrip,
            Kind::IsolationLow,
        ] {
            self.state
                .book
                .add_lost(&device, kind, Energy::from_wh(all_wh));
        }
    }
}

/// What the slot says about an inverter as a whole.
struct InverterFacts {
    ac_power_w: Option<f64>,
    load_ratio: Option<f64>,
    producing: Option<bool>,
    settled: bool,
    throttled: bool,
    power_limit_ratio: Option<f64>,
}

fn expected_ac(inverter: &Inverter, inputs: &[InputNow]) -> Option<Power> {
    let dc: Option<f64> = inputs
        .iter()
        .map(|input| input.prediction.as_ref().map(|p| p.power().w()))
        .sum();
    Some(inverter.ac_from_dc(Power::from_w(dc?)))
}
