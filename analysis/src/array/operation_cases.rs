//! Inverters and curves for the tests of limits and operating points. Invented.

use super::{Ceiling, InputCurve, InverterConditions, ModuleModel, Operation, ceilings, operate};
use crate::plant::{Derating, EfficiencyPoint, Input, Inverter, VoltWattPoint};
use crate::reading::{
    ApparentPower, Current, DeviceId, Irradiance, Power, ReactivePower, Resistance, Span,
    Temperature, Voltage,
};
use proptest::prelude::*;

/// An inverter with a wide window that has no limit but its rated power.
pub(crate) fn inverter(rated_w: f64, inputs: usize) -> Inverter {
    let input = |number| Input {
        number,
        max_operating_current: Current::from_a(1000.0),
        max_short_circuit_current: Current::from_a(1200.0),
        strings: Vec::new(),
    };
    Inverter {
        id: DeviceId::new("inv"),
        rated_ac: Power::from_w(rated_w),
        max_apparent: ApparentPower::from_va(rated_w),
        max_dc_voltage: Voltage::from_v(1500.0),
        start_voltage: Voltage::from_v(60.0),
        tracking_min: Voltage::from_v(50.0),
        tracking_max: Voltage::from_v(1500.0),
        phases: 3,
        efficiency: vec![point(0.05, 0.93), point(0.3, 0.98), point(1.0, 0.97)],
        derating: None,
        isolation_limit: Resistance::from_ohm(50_000.0),
        inputs: (1..).take(inputs).map(input).collect(),
        every: Span::from_s(10),
    }
}

fn point(load_ratio: f64, efficiency_ratio: f64) -> EfficiencyPoint {
    EfficiencyPoint {
        load_ratio,
        efficiency_ratio,
    }
}

pub(super) fn derating(from_degc: f64, ratio_per_k: f64) -> Derating {
    Derating {
        from: Temperature::from_degc(from_degc),
        ratio_per_k,
    }
}

/// Strings of a module of 54 cells, side by side, each with its number of modules.
pub(super) fn curve(modules: &[u16], w_m2: f64, cell_degc: f64) -> InputCurve {
    let module = ModuleModel::OF_54_CELLS;
    let light = Irradiance::from_w_m2(w_m2);
    let cell = Temperature::from_degc(cell_degc);
    let module = module.at(light, cell).expect("in range");
    let strings: Vec<_> = modules
        .iter()
        .map(|count| module.in_series(*count, Resistance::from_ohm(0.4)))
        .collect();
    InputCurve::new(&strings).expect("there are strings")
}

/// An inverter at work under some conditions.
#[derive(Debug, Clone)]
pub(super) struct Case {
    pub inverter: Inverter,
    pub volt_watt: Vec<VoltWattPoint>,
    pub conditions: InverterConditions,
    pub curves: Vec<InputCurve>,
}

impl Case {
    pub fn operate(&self) -> Operation {
        let Case {
            inverter,
            volt_watt,
            conditions,
            curves,
        } = self;
        operate(curves, inverter, volt_watt, conditions).expect("inside the range")
    }

    pub fn ceilings(&self) -> Vec<Ceiling> {
        ceilings(&self.inverter, &self.volt_watt, &self.conditions).expect("inside the range")
    }
}

prop_compose! {
    /// Three quarters of the inputs have one string, the others two of unequal length.
    pub(super) fn any_input()(
        first in 3..24_u16,
        second in prop::option::weighted(0.25, 3..24_u16),
        w_m2 in 2.0..1400.0f64,
        cell_degc in -15.0..80.0f64,
    ) -> InputCurve {
        let modules: Vec<u16> = [Some(first), second].into_iter().flatten().collect();
        curve(&modules, w_m2, cell_degc)
    }
}

prop_compose! {
    fn any_inverter(inputs: usize)(
        rated_w in 1000.0..30_000.0f64,
        more_apparent in 1.0..1.25f64,
        low_v in 60.0..350.0f64,
        window_v in 50.0..900.0f64,
        start_v in 60.0..450.0f64,
        most_a in prop::collection::vec(4.0..40.0f64, inputs),
        efficiency in (0.85..0.97f64, 0.95..0.99f64, 0.94..0.99f64),
        heat in prop::option::of((40.0..80.0f64, 0.005..0.1f64)),
    ) -> Inverter {
        let mut made = inverter(rated_w, inputs);
        made.max_apparent = ApparentPower::from_va(rated_w * more_apparent);
        made.start_voltage = Voltage::from_v(start_v);
        made.tracking_min = Voltage::from_v(low_v);
        made.tracking_max = Voltage::from_v(low_v + window_v);
        let (dim, middle, full) = efficiency;
        made.efficiency = vec![point(0.05, dim), point(0.3, middle), point(1.0, full)];
        made.derating = heat.map(|(from_degc, ratio)| derating(from_degc, ratio));
        for (input, most_a) in made.inputs.iter_mut().zip(most_a) {
            input.max_operating_current = Current::from_a(most_a);
        }
        made
    }
}

prop_compose! {
    fn any_conditions()(
        reactive in prop::option::of(-1.0..1.0f64),
        voltage in prop::option::of(220.0..265.0f64),
        power_limit_ratio in prop::option::of(0.0..1.2f64),
        heatsink in prop::option::of(0.0..110.0f64),
        was_running in prop::option::of(any::<bool>()),
    ) -> InverterConditions {
        InverterConditions {
            // Of the apparent power; the case has the number.
            reactive_power: reactive.map(ReactivePower::from_var),
            highest_phase_voltage: voltage.map(Voltage::from_v),
            power_limit_ratio,
            heatsink: heatsink.map(Temperature::from_degc),
            was_running,
        }
    }
}

pub(super) fn any_case() -> impl Strategy<Value = Case> {
    (1..4_usize).prop_flat_map(|inputs| {
        let curves = prop::collection::vec(any_input(), inputs);
        let line = (240.0..255.0f64, 2.0..12.0f64, 0.0..0.9f64);
        (any_inverter(inputs), any_conditions(), curves, line).prop_map(
            |(inverter, mut conditions, curves, (from_v, over_v, least))| {
                let va = inverter.max_apparent.va();
                let share = conditions.reactive_power;
                conditions.reactive_power = share.map(|q| ReactivePower::from_var(q.var() * va));
                let line_point = |v, power_ratio| VoltWattPoint {
                    voltage: Voltage::from_v(v),
                    power_ratio,
                };
                Case {
                    inverter,
                    volt_watt: vec![line_point(from_v, 1.0), line_point(from_v + over_v, least)],
                    conditions,
                    curves,
                }
            },
        )
    })
}
