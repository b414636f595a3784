//! Inverters that stand still in the light, and what every finding costs, slot by slot.
//! Never in here: what an input should give.

use super::Engine;
use super::slots::{InverterNow, When};
use crate::detect::{Cost, Gate, Kind, Made};
use crate::diagnose::{Subject, explain};
use crate::expected::{Light, PlaneLight};
use crate::reading::{Energy, Power, Span, Time};

/// Lit time without output until covered modules or an inverter that is off are said.
const COVERED_AFTER: Span = Span::from_h(1);
const OFF_AFTER: Span = Span::from_h(2);
/// Share of the expected power from which an inverter works well (engineering judgement) [-].
const WELL_RATIO: f64 = 0.5;
/// Slots without output are remembered this long: a trip is told only after ten minutes.
const IDLE_KEPT: Span = Span::from_h(1);

/// Clear-sky power over rated power from which it is compared [-].
const LEAST_CLEAR_RATIO: f64 = 0.02;

/// Findings on an input that cost what the input misses, in the order of the ledger.
fn of_an_input(kind: &Kind) -> bool {
    matches!(kind.cost(), Cost::Cover | Cost::Input | Cost::Slow)
}

/// Findings on an inverter that cost all it misses while it does not produce.
fn of_a_standstill(kind: &Kind) -> bool {
    matches!(kind.cost(), Cost::Standstill | Cost::Cover)
}

impl Engine {
    pub(super) fn judge_standstill(
        &mut self,
        i: usize,
        when: When,
        now: &[InverterNow],
        frost: Option<bool>,
    ) {
        let Some(producing) = now[i].facts.producing else {
            return;
        };
        let plant = self.plant.clone();
        let device = Subject::device(&plant.inverters[i].id);
        if producing {
            self.state.book.end(&device, Kind::InverterOff, when.start);
            self.state.book.end(&device, Kind::Snow, when.start);
        }
        let made = now[i].made(producing);
        let watch = &mut self.state.inverters[i].standstill;
        let slot = plant.timing.slot;
        let still = watch.lit_slot(when.start, slot, made);
        // A trip, a fault to earth or a protection that acted explains why it stands still.
        let explained = [
            Kind::GridTrip,
            Kind::IsolationLow,
            Kind::ResidualCurrentHigh,
        ]
        .iter()
        .any(|kind| self.state.book.stands(&device, *kind))
            || self.state.inverters[i].protection.explains_standstill();
        // Snow neither stops an inverter, nor spares its neighbours on the plane, nor covers every module
        // from one slot to the next.
        let neighbour_works = (0..now.len())
            .any(|j| now[j].facts.producing == Some(true) && self.share_a_plane(i, j));
        let came_at_once = still.is_some_and(|still| still.came_at_once);
        let may_be_covered = !now[i].facts.stopped && !neighbour_works && !came_at_once;
        let covered = frost == Some(true) && may_be_covered;
        let enough = if covered { COVERED_AFTER } else { OFF_AFTER };
        if let Some(still) = still.filter(|still| !explained && still.light >= enough) {
            let inverter = &plant.inverters[i];
            let volts = now[i].inputs.iter().filter_map(|n| n.slot.voltage);
            let starts = volts.map(|v| v.v() >= inverter.start_voltage.v());
            let has_start_voltage = starts.reduce(|a, b| a || b);
            let id = &inverter.id;
            let new = explain::standstill(id, when.end, &still, covered, has_start_voltage);
            let other = [Kind::InverterOff, Kind::Snow]
                .into_iter()
                .find(|kind| *kind != new.kind);
            if !other.is_some_and(|kind| self.state.book.stands(&device, kind)) {
                self.state.book.open(new);
            }
        }
    }

    /// Learns what an inverter at work makes of a clear sky's light, and says what one that stands still
    /// would probably have made where nothing shows the light.
    pub(super) fn compare_with_clear_sky(
        &mut self,
        i: usize,
        when: When,
        light: &Light,
        now: &mut InverterNow,
    ) {
        let inverter = &self.plant.inverters[i];
        let inputs = inverter.inputs.iter().zip(&self.chain.inputs[i]);
        let clear_w = inputs.map(|(input, model)| {
            let clear_ratio = light.clear_poa[model.plane].w_m2() / 1000.0;
            self.plant.input_rated(input).w() * clear_ratio
        });
        let clear = Power::from_w(clear_w.sum::<f64>().min(inverter.rated_ac.w()));
        if clear.w() <= LEAST_CLEAR_RATIO * inverter.rated_ac.w() {
            return;
        }
        let slot = self.plant.timing.slot;
        let typical = &mut self.state.inverters[i].typical;
        match (now.facts.producing, now.facts.ac_power_w) {
            (Some(true), Some(ac_w)) => {
                let measured = Power::from_w(ac_w.max(0.0));
                typical.add(when.day, measured, clear, slot);
            }
            // Its own inputs show no light while it does not ask them.
            (Some(false), _) => {
                let by_itself = |p: &PlaneLight| p.own_inputs.is_some();
                let is_dark = self.chain.inputs[i]
                    .iter()
                    .all(|input| light.planes[input.plane].as_ref().is_none_or(by_itself));
                let expected = || typical.expected(when.day, clear, slot);
                now.typical = is_dark.then(expected).flatten();
            }
            _ => {}
        }
    }

    fn share_a_plane(&self, i: usize, j: usize) -> bool {
        let on = |plane| {
            self.chain.inputs[j]
                .iter()
                .any(|input| input.plane == plane)
        };
        self.chain.inputs[i].iter().any(|input| on(input.plane))
    }

    /// Books what is missing in a slot, once: to the inverter's finding while it does not produce,
    /// else to the first finding of each input.
    pub(super) fn add_lost(&mut self, i: usize, when: When, now: &InverterNow) {
        let plant = self.plant.clone();
        let inverter = &plant.inverters[i];
        let device = Subject::device(&inverter.id);
        let is_idle = now.facts.producing != Some(true);
        let of_inverter = Kind::costly()
            .filter(of_a_standstill)
            .find(|kind| is_idle && self.state.book.stands(&device, *kind));
        let mut all_wh = 0.0;
        for (k, input) in now.inputs.iter().enumerate() {
            let subject = self.subject((i, k));
            let stands = |kind: &Kind| self.state.book.stands(&subject, *kind);
            let of_input = Kind::costly().filter(of_an_input).find(stands);
            let spared = match of_input {
                Some(kind) => input.slot.is_spared(kind, now.limit),
                None => input.slot.is_held_back(now.limit),
            };
            if spared || input.slot.gate == Gate::NoWeather {
                continue;
            }
            all_wh += input.missing_wh;
            if let Some(kind) = of_input.filter(|_| of_inverter.is_none()) {
                let lost = Energy::from_wh(input.missing_wh);
                self.state.book.add_lost(&subject, kind, lost);
            } else if of_inverter.is_none() && self.lies_dirty((i, k)) {
                let lost = Energy::from_wh(input.missing_wh);
                self.state.book.add_lost(&device, Kind::Soiling, lost);
            }
        }
        if !is_idle {
            return;
        }
        if let Some(typical) = now.typical {
            all_wh = typical.energy.wh();
        }
        if let Some(kind) = of_inverter {
            self.state
                .book
                .add_lost(&device, kind, Energy::from_wh(all_wh));
            if let Some(typical) = now.typical {
                let sigma = ("lost_sigma_ratio".to_owned(), typical.sigma_ratio);
                self.state
                    .book
                    .add_evidence(&device, kind, [sigma].into_iter().collect());
            }
        }
        let idle = &mut self.state.inverters[i].idle;
        idle.push_back((when.start, all_wh));
        while idle
            .front()
            .is_some_and(|(start, _)| when.start - *start > IDLE_KEPT)
        {
            idle.pop_front();
        }
    }

    /// Whether what an input misses is charged to a finding on it or to the dirt of its plane.
    pub(super) fn is_charged(&self, (i, k): (usize, usize), input: &Subject) -> bool {
        let mut of_input = Kind::costly().filter(of_an_input);
        of_input.any(|kind| self.state.book.stands(input, kind)) || self.lies_dirty((i, k))
    }

    /// Whether dirt stands on the plane of an input. It is told of the inverter, for it is the plane's;
    /// inputs on clean planes miss nothing by it.
    fn lies_dirty(&self, (i, k): (usize, usize)) -> bool {
        let device = Subject::device(&self.plant.inverters[i].id);
        let plane = self.chain.inputs[i][k].plane;
        self.state.book.stands(&device, Kind::Soiling) && self.state.planes[plane].is_soiled()
    }

    /// What an inverter has missed in slots without output since `began`, as far as remembered.
    pub(super) fn idle_since(&self, i: usize, began: Time) -> Energy {
        let slot = self.plant.timing.slot;
        let idle = &self.state.inverters[i].idle;
        let since = idle.iter().filter(|(start, _)| *start + slot > began);
        Energy::from_wh(since.fold(0.0, |sum, (_, wh)| sum + wh))
    }
}

impl InverterNow {
    fn made(&self, producing: bool) -> Made {
        if !producing {
            let by_input = || self.inputs.iter().map(|input| input.missing_wh).sum();
            let typical = self.typical.map(|typical| typical.energy.wh());
            return Made::Nothing(typical.unwrap_or_else(by_input));
        }
        let both = self.facts.ac_power_w.zip(self.expected_ac);
        match both.is_some_and(|(ac_w, expected)| ac_w >= WELL_RATIO * expected.w()) {
            true => Made::Well,
            false => Made::Little,
        }
    }
}
