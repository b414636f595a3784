//! Inverters and curves for the tests of limits and operating points. Invented.

use super::{InputCurve, ModuleModel};
use crate::plant::{Derating, EfficiencyPoint, Input, Inverter};
use crate::reading::{
    ApparentPower, Current, DeviceId, Irradiance, Power, Resistance, Span, Temperature, Voltage,
};

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

pub(super) fn point(load_ratio: f64, efficiency_ratio: f64) -> EfficiencyPoint {
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
    let module = ModuleModel {
        photo_ref_a: 13.957,
        saturation_ref_a: 2.046e-11,
        series_ohm: 0.1623,
        shunt_ref_ohm: 326.3,
        ideality_ref_v: 1.373,
        isc_a_per_k: 0.00628,
        adjust_ratio: 0.0,
    };
    let light = Irradiance::from_w_m2(w_m2);
    let cell = Temperature::from_degc(cell_degc);
    let module = module.at(light, cell).expect("in range");
    let strings: Vec<_> = modules
        .iter()
        .map(|count| module.in_series(*count, Resistance::from_ohm(0.4)))
        .collect();
    InputCurve::new(&strings).expect("there are strings")
}
