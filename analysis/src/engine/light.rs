//! The light of a slot, and whether it has frozen lately. Never in here: a verdict.

use super::Engine;
use crate::detect::{HELD_BACK_RATIO, Kind, reference_current};
use crate::expected::shade::Shade;
use crate::expected::{
    InputShare, Light, Moment, PlaneLight, PlaneShare, Prediction, WeatherRung, needs_scaling,
    scale_clear_sky, share_on_curve, with_plane_scaled,
};
use crate::reading::{ChannelId, SlotMeans, Span, Temperature, Time, median};
use std::collections::BTreeSet;

/// Frost is remembered this long.
const FROST_KEPT: Span = Span::from_h(36);
/// At or below the first water freezes on modules, above the second it does not stay [degC].
const FROST_DEGC: f64 = 1.5;
const THAW_DEGC: f64 = 8.0;

/// A sensor that shows less than this share of the clear sky is held against the plant [-].
const DARK_RATIO: f64 = 0.5;
/// Clear-sky irradiance from which that is done [W/m2].
const DARK_FROM_W_M2: f64 = 150.0;
/// An input that carries so many times what the light gives contradicts the sensor, if it is at
/// least this share of its peak current at 1000 W/m2 [-].
const CONTRADICTS_TIMES: f64 = 1.5;
const CONTRADICTS_FROM_RATIO: f64 = 0.05;

/// What a few kelvin make of the current of a curve at the voltage of an input that is held back, over the
/// peak's (engineering judgement) [-].
const CLOSE_RATIO: f64 = 0.1;
/// The light may still be about the same after so long.
const JUST_BEFORE: Span = Span::from_h(1);
/// The heat of the air stays about the same for so long (engineering judgement: 10 K are 4 % of the voltage).
const LATELY: Span = Span::from_h(6);

/// The light of a slot.
pub(super) struct Lights {
    /// By all that is known.
    pub light: Light,
    /// Without what the inputs show of it themselves: that of a clear sky instead.
    pub by_sky: Light,
    /// Sensors that the plant contradicts in it.
    pub contradicted: BTreeSet<ChannelId>,
}

impl Engine {
    pub(super) fn light(&mut self, means: &SlotMeans) -> Lights {
        let timing = self.plant.timing;
        let nothing = SlotMeans::new(means.start - timing.slot);
        let before = self.state.before.take();
        let is_before = before.as_ref().filter(|b| b.start == nothing.start);
        let wrong = self.state.measuring.distrusted();
        let mut distrusted = wrong.clone();
        let (by_sky, mut light) = loop {
            let moment = Moment {
                slot: timing.slot,
                means,
                before: is_before.unwrap_or(&nothing),
                sync_ratio: timing.sync.seconds() / timing.slot.seconds(),
                distrusted: &distrusted,
            };
            let by_sky = self.ladder.light(&moment);
            let contradicted = self.contradicted(&by_sky, means);
            if contradicted.is_empty() {
                let mut light = by_sky.clone();
                if needs_scaling(&light) {
                    let shares = self.shares_of_clear_sky(&light, &moment);
                    scale_clear_sky(&self.ladder, &mut light, &shares);
                    self.remember_shares(means.start, &light);
                }
                break (self.of_one_kind(by_sky, &moment), light);
            }
            distrusted.extend(contradicted);
        };
        self.state.before = before;
        for (plane, inertia) in light.planes.iter_mut().zip(&mut self.state.inertia) {
            if let Some(plane) = plane {
                inertia.follow(&mut plane.heat, means.start, timing.slot);
            }
        }
        Lights {
            light,
            by_sky,
            contradicted: &distrusted - &wrong,
        }
    }

    /// The same kind of light for all planes, as long as they are compared: where some have no sensor
    /// of their own, none has.
    fn of_one_kind(&mut self, light: Light, moment: &Moment) -> Light {
        let by_sensor = |p: &&PlaneLight| p.rung == WeatherRung::PlaneSensor;
        let inputs = self.chain.inputs.iter().flatten();
        let used: BTreeSet<usize> = inputs.map(|input| input.plane).collect();
        let planes = || used.iter().filter_map(|p| light.planes[*p].as_ref());
        let is_compared = self
            .state
            .inverters
            .iter()
            .any(|inverter| !inverter.own.wiring.is_settled());
        if !is_compared || planes().all(|p| by_sensor(&p)) || !planes().any(|p| by_sensor(&p)) {
            return light;
        }
        let sensors = planes().filter(by_sensor).filter_map(|p| p.sensor);
        let distrusted: BTreeSet<ChannelId> =
            moment.distrusted.iter().copied().chain(sensors).collect();
        self.ladder.light(&Moment {
            distrusted: &distrusted,
            ..*moment
        })
    }

    /// Sensors that show next to nothing while an input in their light carries much more than that
    /// gives: an array cannot make light.
    fn contradicted(&self, light: &Light, means: &SlotMeans) -> BTreeSet<ChannelId> {
        let dark = |plane: &PlaneLight| {
            let clear = plane.clear_poa.w_m2();
            clear >= DARK_FROM_W_M2 && plane.poa.w_m2() < DARK_RATIO * clear
        };
        let sensor = |p: usize| light.planes[p].filter(dark)?.sensor;
        let mut contradicted = BTreeSet::new();
        for (i, inputs) in self.chain.inputs.iter().enumerate() {
            for (k, model) in inputs.iter().enumerate() {
                let Some(id) = sensor(model.plane) else {
                    continue;
                };
                let point = self.operating_point(i, k, means);
                let least_a = CONTRADICTS_FROM_RATIO * model.rated_current_a;
                let Some((volts, amps)) = point.filter(|(_, amps)| *amps > least_a) else {
                    continue;
                };
                // Shade that is gone contradicts nobody.
                let given = self
                    .predict(i, k, light, Shade::NONE)
                    .map_or(0.0, |prediction| reference_current(&prediction, volts));
                if amps > CONTRADICTS_TIMES * given {
                    contradicted.insert(id);
                }
            }
        }
        contradicted
    }

    /// What an input should do in this light, by all that is known of it.
    pub(super) fn predict(
        &self,
        i: usize,
        k: usize,
        light: &Light,
        shade: Shade,
    ) -> Option<Prediction> {
        let model = &self.chain.inputs[i][k];
        let plane = light.planes[model.plane].as_ref()?;
        let mut factors = self.state.calibration.factors((i, k), plane.rung);
        if plane.own_inputs.is_some() {
            factors = factors.without_light();
        }
        self.chain.predict_in_shade(model, light, &factors, shade)
    }

    /// What the inputs of each plane show of the light that is assumed.
    fn shares_of_clear_sky(&self, light: &Light, moment: &Moment) -> Vec<PlaneShare> {
        let mut shares = vec![PlaneShare::default(); light.planes.len()];
        let shades = self.shades(light);
        let in_the_sun = self.planes_in_the_sun(&shades);
        for (i, inverter) in self.plant.inverters.iter().enumerate() {
            // What an inverter does not ask for says nothing of the light.
            let facts = self.inverter_facts(i, moment.means, inverter);
            let is_at_work = facts.producing != Some(false);
            for (k, model) in self.chain.inputs[i].iter().enumerate() {
                let rung = light.planes[model.plane].map(|plane| plane.rung);
                // Where there is a sensor nobody asks the inputs.
                if rung == Some(WeatherRung::PlaneSensor) {
                    continue;
                }
                let on_plane = &mut shares[model.plane];
                let shade = shades[i][k];
                // Of several inputs the one in the sun speaks.
                let is_outshone = !shade.is_none() && in_the_sun[model.plane];
                if is_at_work && !is_outshone && !self.has_input_finding(i, k) {
                    let share = self.share_of_clear_sky((i, k), light, moment, shade);
                    share.into_iter().for_each(|share| on_plane.add(share));
                } else {
                    on_plane.add_without_voice();
                }
            }
        }
        shares
    }

    /// What is known to shade every input now.
    fn shades(&self, light: &Light) -> Vec<Vec<Shade>> {
        let of_inverter = |(i, inputs): (usize, &Vec<_>)| {
            let inputs = 0..inputs.len();
            inputs.map(|k| self.shade((i, k), light)).collect()
        };
        self.chain
            .inputs
            .iter()
            .enumerate()
            .map(of_inverter)
            .collect()
    }

    /// By plane, whether an input on it is known to have no shade now.
    fn planes_in_the_sun(&self, shades: &[Vec<Shade>]) -> Vec<bool> {
        let mut in_the_sun = vec![false; self.plant.planes.len()];
        for (inputs, shades) in self.chain.inputs.iter().zip(shades) {
            for (input, shade) in inputs.iter().zip(shades) {
                in_the_sun[input.plane] |= shade.is_none();
            }
        }
        in_the_sun
    }

    fn share_of_clear_sky(
        &self,
        (i, k): (usize, usize),
        light: &Light,
        moment: &Moment,
        shade: Shade,
    ) -> Option<InputShare> {
        let rung = WeatherRung::ScaledClearSky;
        // What is known of this rung's light was learned from these very shares.
        let factors = self.state.calibration.factors((i, k), rung).without_light();
        let (volts, amps) = self.operating_point(i, k, moment.means)?;
        let model = &self.chain.inputs[i][k];
        let under = |light: &Light| self.chain.predict_in_shade(model, light, &factors, shade);
        let prediction = under(light)?;
        let scaled = |share: f64| under(&with_plane_scaled(light, model.plane, share));
        let now = moment.means.start;
        let by_curve = self.share_held_back((i, k), now, (volts, amps), &prediction, scaled);
        let channels = &self.roles.inverters[i].inputs[k];
        let shows = channels.current.or(channels.power);
        Some(InputShare {
            share: by_curve
                .unwrap_or_else(|| amps / reference_current(&prediction, volts))
                .max(0.0),
            by_curve: by_curve.is_some(),
            own_ratio: prediction.current_uncertainty.own_ratio,
            unsteady_ratio: shows.map_or(0.0, |id| moment.unsteady_ratio(id)),
        })
    }

    /// The share of a clear sky that an input shows by its place on the curve; `None` unless its voltage says
    /// that it is held back. A voltage above that of the peak under a clear sky may also be that of cooler
    /// cells: how cool they are today it has shown while it was at its peak. `clear` and `under`: what it should
    /// do under a clear sky, and under a share of that.
    fn share_held_back(
        &self,
        (i, k): (usize, usize),
        now: Time,
        (volts, amps): (f64, f64),
        clear: &Prediction,
        under: impl Fn(f64) -> Option<Prediction>,
    ) -> Option<f64> {
        let volts = volts / self.voltage_ratio_lately((i, k), now)?;
        let is_held_back = |at: &Prediction| volts > HELD_BACK_RATIO * at.expected.voltage.v();
        if !is_held_back(clear) {
            return None;
        }
        let clear_a = clear.expected.current.a();
        let least = (amps / clear_a).max(0.0);
        if !is_held_back(&under(least)?) {
            return None;
        }
        let surplus = |share: f64| Some(under(share)?.current_at(volts) - amps);
        let before = self.state.planes[self.chain.inputs[i][k].plane].shown;
        let before = before.filter(|(start, _)| now - *start <= JUST_BEFORE);
        let before = before.map_or(1.0, |(_, share)| share);
        Some(share_on_curve(
            least,
            before,
            CLOSE_RATIO * clear_a,
            surplus,
        ))
    }

    /// Keeps what planes show of a clear sky by their own inputs.
    fn remember_shares(&mut self, start: Time, light: &Light) {
        for (plane, state) in light.planes.iter().zip(&mut self.state.planes) {
            let by_itself = plane.filter(|plane| plane.own_inputs.is_some());
            let share = by_itself.map(|plane| plane.poa.w_m2() / plane.clear_poa.w_m2());
            if let Some(share) = share.filter(|share| share.is_finite()) {
                state.shown = Some((start, share));
            }
        }
    }

    /// Measured over expected peak voltage of the latest slots in which an input was at its peak; `None`
    /// where that is long ago.
    fn voltage_ratio_lately(&self, (i, k): (usize, usize), now: Time) -> Option<f64> {
        let samples = self.state.inverters[i].inputs[k].window.samples();
        let lately = samples.filter(|sample| now - sample.start <= LATELY);
        median(lately.map(|sample| sample.voltage_ratio))
    }

    /// Whether something that lowers its current stands on an input.
    fn has_input_finding(&self, i: usize, k: usize) -> bool {
        let subject = self.subject((i, k));
        let is_low = self.state.book.stands(&subject, Kind::CurrentLow);
        is_low || self.has_window_finding(&subject)
    }

    /// Measured voltage [V] and current [A] of an input; the current from its power where the device
    /// publishes no current.
    pub(super) fn operating_point(
        &self,
        i: usize,
        k: usize,
        means: &SlotMeans,
    ) -> Option<(f64, f64)> {
        let channels = &self.roles.inverters[i].inputs[k];
        let mean = |id: Option<ChannelId>| id.and_then(|id| means.get(id)).map(|s| s.mean);
        let volts = mean(channels.voltage)?;
        let from_power = || {
            mean(channels.power)
                .filter(|_| volts > 1.0)
                .map(|w| w / volts)
        };
        let amps = mean(channels.current).or_else(from_power)?;
        Some((volts, amps))
    }

    pub(super) fn remember_frost(&mut self, start: Time, light: &Light) {
        let measured = light
            .planes
            .iter()
            .flatten()
            .filter(|p| p.heat.from_air.is_none());
        let cells = measured.map(|p| p.heat.cell);
        let coldest = light
            .air
            .into_iter()
            .chain(cells)
            .map(Temperature::degc)
            .reduce(f64::min);
        let Some(coldest) = coldest else { return };
        self.state.last_temperature = Some(start);
        if coldest <= FROST_DEGC {
            self.state.last_frost = Some(start);
        }
    }

    /// Whether frost or snow may lie; `None` where nothing has measured a temperature.
    pub(super) fn frost(&self, now: Time, air: Option<Temperature>) -> Option<bool> {
        self.state.last_temperature?;
        let lately = self.state.last_frost.is_some_and(|t| now - t <= FROST_KEPT);
        Some(lately && air.is_none_or(|air| air.degc() < THAW_DEGC))
    }
}
