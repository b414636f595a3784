//! What an inverter works under in a slot, and which limit acts on it.
//! Never in here: how a limit is told (`detect::acting`), or where an inverter should work
//! (`array::operate`).

use super::Engine;
use super::slots::{InputNow, InverterFacts};
use crate::array::{
    Characteristic, InverterConditions, Limit, OperatingPoint, available, ceilings,
};
use crate::detect::{InputSlot, LimitFacts, acting};
use crate::expected::Prediction;
use crate::reading::{
    ChannelId, Current, Power, ReactivePower, SlotMeans, Span, Temperature, Voltage,
};

/// A calibrated curve.
impl Characteristic for &Prediction {
    fn current_at(&self, voltage: Voltage) -> Current {
        Current::from_a(Prediction::current_at(self, voltage.v()))
    }

    fn max_power(&self) -> OperatingPoint {
        OperatingPoint {
            voltage: self.expected.voltage,
            current: self.expected.current,
        }
    }
}

impl Engine {
    /// Names the limits that act on the inputs, and gives the one on the inverter.
    pub(super) fn name_limits(
        &self,
        i: usize,
        means: &SlotMeans,
        facts: &InverterFacts,
        inputs: &mut [InputNow],
    ) -> Option<Limit> {
        let inverter = &self.plant.inverters[i];
        let line = &self.limits[i].volt_watt;
        let conditions = self.conditions(i, means, facts).within_range(inverter);
        let curves: Option<Vec<&Prediction>> = inputs
            .iter()
            .map(|input| input.prediction.as_ref())
            .collect();
        let ceilings = ceilings(inverter, line, &conditions).ok();
        let was_running = conditions.was_running;
        let curves = curves.filter(|_| ceilings.is_some());
        let available = curves.and_then(|curves| available(&curves, inverter, was_running).ok());
        let slots: Vec<InputSlot> = inputs.iter().map(|input| input.slot).collect();
        let acting = acting(&LimitFacts {
            inverter,
            ceilings: ceilings.as_deref().unwrap_or_default(),
            volt_watt: line,
            available,
            ac_power: facts.ac_power_w.map(Power::from_w),
            highest_ac_power: facts.highest_ac_w.map(Power::from_w),
            producing: facts.producing,
            throttled: facts.throttled,
            inputs: &slots,
        });
        for (input, limit) in inputs.iter_mut().zip(acting.inputs) {
            input.slot.limit = limit;
        }
        acting.inverter
    }

    fn conditions(&self, i: usize, means: &SlotMeans, facts: &InverterFacts) -> InverterConditions {
        let channels = &self.roles.inverters[i];
        let mean = |id: Option<ChannelId>| id.and_then(|id| means.get(id)).map(|stat| stat.mean);
        let phases = channels.phase_voltages.iter().filter_map(|id| mean(*id));
        let ran_before = self.state.inverters[i].producing_for > Span::ZERO;
        InverterConditions {
            reactive_power: mean(channels.reactive_power).map(ReactivePower::from_var),
            highest_phase_voltage: phases.reduce(f64::max).map(Voltage::from_v),
            power_limit_ratio: facts.power_limit_ratio,
            heatsink: mean(channels.heatsink).map(Temperature::from_degc),
            was_running: facts.producing.map(|_| ran_before),
        }
    }
}
