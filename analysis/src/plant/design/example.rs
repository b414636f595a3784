//! The invented plant of the worked examples, for tests.
//! Never in here: anything that is not a given of those examples.

use crate::plant::{
    Ageing, GridLimits, Input, Inverter, Module, Mounting, Plane, Plant, PvString, Site, Timing,
};
use crate::reading::{
    Angle, ApparentPower, ChannelTable, Current, DeviceId, Power, Resistance, Span, Temperature,
    Time, Voltage,
};

/// An invented module; the numbers of the worked examples are for it.
pub(super) fn reference_module() -> Module {
    Module {
        id: "m".to_owned(),
        voc: Voltage::from_v(37.4),
        isc: Current::from_a(13.95),
        vmp: Voltage::from_v(31.0),
        imp: Current::from_a(13.23),
        cells_in_series: 54,
        bypass_sections: 3,
        isc_temp_ratio_per_k: 0.00045,
        voc_temp_ratio_per_k: -0.0028,
        pmax_temp_ratio_per_k: -0.0034,
        power_tolerance_ratio: 0.03,
        ageing: Ageing::NONE,
    }
}

pub(super) fn string(label: &str, count: u16, plane: usize) -> PvString {
    PvString {
        label: label.to_owned(),
        module: 0,
        count,
        plane,
        cable_loop: Resistance::from_ohm(0.4),
    }
}

pub(super) fn input_with(rating: (f64, f64), strings: Vec<PvString>) -> Input {
    Input {
        number: 1,
        max_operating_current: Current::from_a(rating.0),
        max_short_circuit_current: Current::from_a(rating.1),
        strings,
    }
}

pub(super) fn plant(rated_w: f64, coldest: Option<f64>, inputs: Vec<Input>) -> Plant {
    let inverter = Inverter {
        id: DeviceId::new("inv"),
        rated_ac: Power::from_w(rated_w),
        max_apparent: ApparentPower::from_va(rated_w),
        max_dc_voltage: Voltage::from_v(1100.0),
        start_voltage: Voltage::from_v(200.0),
        tracking_min: Voltage::from_v(180.0),
        tracking_max: Voltage::from_v(1000.0),
        phases: 3,
        efficiency: Vec::new(),
        derating: None,
        isolation_limit: Resistance::from_ohm(36_667.0),
        inputs,
        every: Span::from_s(10),
    };
    let mounting = Mounting::OPEN_RACK;
    let plane = |azimuth: f64| Plane {
        id: azimuth.to_string(),
        tilt: Angle::from_deg(20.0),
        azimuth: Angle::from_deg(azimuth),
        mounting,
        albedo_ratio: 0.2,
        horizon: None,
    };
    Plant {
        site: site(coldest),
        modules: vec![reference_module()],
        planes: vec![plane(0.0), plane(270.0)],
        inverters: vec![inverter],
        weather: Vec::new(),
        channels: ChannelTable::default(),
        timing: Timing {
            slot: Span::from_min(5),
            allowed_lateness: Span::ZERO,
            sync: Span::from_s(2),
        },
        false_alarms_per_inverter_year: 0.05,
    }
}

fn site(coldest: Option<f64>) -> Site {
    Site {
        name: "s".to_owned(),
        latitude: Angle::from_deg(-35.0),
        longitude: Angle::from_deg(147.5),
        altitude_m: 200.0,
        commissioned: Time::from_unix_ms(0),
        linke_turbidity: [3.0; 12],
        design_coldest: coldest.map(Temperature::from_degc),
        design_hottest_cell: Temperature::from_degc(70.0),
        energy_price: None,
        grid_limits: GridLimits::none(),
    }
}
