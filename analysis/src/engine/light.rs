//! The light of a slot, and whether it has frozen lately. Never in here: a verdict.

use super::Engine;
use crate::expected::{Light, Moment, PlaneShare, needs_scaling, scale_clear_sky};
use crate::reading::{ChannelId, SlotMeans, Span, Temperature, Time};

/// Frost is remembered this long.
const FROST_KEPT: Span = Span::from_h(36);
/// At or below the first water freezes on modules, above the second it does not stay [degC].
const FROST_DEGC: f64 = 1.5;
const THAW_DEGC: f64 = 8.0;
/// Clear-sky current over peak current below which the peak is the better measure [-]: right of the
/// clear-sky peak the curve is steep.
const STEEP_RATIO: f64 = 0.9;

impl Engine {
    pub(super) fn light(&mut self, middle: Time, means: &SlotMeans) -> Light {
        let timing = &self.plant.timing;
        let nothing = SlotMeans::new(means.start - timing.slot);
        let before = self
            .state
            .before
            .as_ref()
            .filter(|b| b.start == nothing.start);
        let mut light = self.ladder.light(&Moment {
            middle,
            means,
            before: before.unwrap_or(&nothing),
            sync_ratio: timing.sync.seconds() / timing.slot.seconds(),
        });
        if needs_scaling(&light) {
            let shares = self.shares_of_clear_sky(&light, means);
            scale_clear_sky(&mut light, &shares);
        }
        light
    }

    /// What the inputs of each plane show of the light that is assumed.
    fn shares_of_clear_sky(&self, light: &Light, means: &SlotMeans) -> Vec<PlaneShare> {
        let mut shares = vec![PlaneShare::default(); light.planes.len()];
        for (i, inputs) in self.chain.inputs.iter().enumerate() {
            for (k, model) in inputs.iter().enumerate() {
                let calibration = &self.state.inverters[i].inputs[k].calibration;
                let point = self.operating_point(i, k, means);
                let prediction = self.chain.predict(model, light, calibration);
                if let (Some((volts, amps)), Some(prediction)) = (point, prediction) {
                    let (curve, _) = prediction.curve_at(volts);
                    let reference = curve.max(STEEP_RATIO * prediction.expected.current.a());
                    shares[model.plane].add((amps / reference).max(0.0));
                }
            }
        }
        shares
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
