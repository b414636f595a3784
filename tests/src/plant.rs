//! A plant that does not exist: its fixed facts, for tests. What its devices publish is in [`Twin`].
//!
//! The module is invented, as a datasheet of its class would state it; the place is the middle of
//! nowhere in the south, planes look north and west.
//! Never in here: what a test expects.

mod fed;
mod network;
mod noise;
mod twin;
mod world;

pub use network::Network;
pub use noise::{normal, uniform};
pub use twin::Twin;
pub use world::{Event, Insulation, Obstacle, Period, What, World};

use analysis::plant::{
    Ageing, EfficiencyPoint, EnterService, FrequencyLimit, GridLimits, Input, Inverter, Module,
    Mounting, Plane, Plant, PvString, Site, Timing, VoltageLimit, WeatherDevice,
};
use analysis::reading::{
    Angle, ApparentPower, Channel, ChannelTable, Current, DeviceId, Frequency, Place, Power,
    Quantity, Resistance, Span, Temperature, Time, Voltage,
};

/// Midnight by the sun over the plant, early summer of the south: 10 November 2026.
pub const START: Time = Time::from_unix_ms(1_794_232_800_000);
/// The plane that looks north.
pub const NORTH: usize = 0;
/// The plane that looks west.
pub const WEST: usize = 1;
/// Phases of its supply.
pub const PHASES: usize = 3;
/// Efficiency of its inverters.
pub const EFFICIENCY_RATIO: f64 = 0.97;

/// Strings in parallel on one input.
#[derive(Debug, Clone, Copy)]
pub struct Strings {
    /// How many.
    pub parallel: u8,
    /// Modules in series in each.
    pub modules: u16,
    /// Where they lie.
    pub plane: usize,
}

/// What a plant is made of.
#[derive(Debug, Clone)]
pub struct Shape {
    /// Rated power [W] and inputs of each inverter.
    pub inverters: Vec<(f64, Vec<Strings>)>,
    /// The plane in which the mast's sensor lies; without one the mast has air and wind only.
    pub sensor: Option<usize>,
    /// From one poll to the next.
    pub every: Span,
}

/// Two inverters with five inputs in two planes, and a sensor in one of them.
pub fn two_inverters() -> Shape {
    let strings = |parallel, modules, plane| Strings {
        parallel,
        modules,
        plane,
    };
    Shape {
        inverters: vec![
            (
                25_000.0,
                vec![
                    strings(2, 16, NORTH),
                    strings(2, 16, NORTH),
                    strings(1, 16, WEST),
                ],
            ),
            (10_000.0, vec![strings(1, 14, WEST), strings(2, 14, NORTH)]),
        ],
        sensor: Some(NORTH),
        every: Span::from_min(1),
    }
}

/// One inverter with so many inputs of two strings of sixteen modules in the plane to the north.
pub fn one_plane(rated_w: f64, inputs: usize, sensor: bool, every: Span) -> Shape {
    let strings = Strings {
        parallel: 2,
        modules: 16,
        plane: NORTH,
    };
    Shape {
        inverters: vec![(rated_w, vec![strings; inputs])],
        sensor: sensor.then_some(NORTH),
        every,
    }
}

/// One inverter with three inputs on two planes, and a sensor in one of them.
pub fn three_inputs(every: Span) -> Shape {
    let strings = |parallel, plane| Strings {
        parallel,
        modules: 16,
        plane,
    };
    let inputs = vec![strings(2, NORTH), strings(2, NORTH), strings(1, WEST)];
    Shape {
        inverters: vec![(25_000.0, inputs)],
        sensor: Some(NORTH),
        every,
    }
}

/// The facts of a plant of this shape. Inverters are `inv-1`, `inv-2`, ...; the mast is `mast`.
pub fn plant(shape: &Shape) -> Plant {
    let inverters: Vec<Inverter> = (1..)
        .zip(&shape.inverters)
        .map(|(n, (rated_w, inputs))| inverter(n, *rated_w, inputs, shape.every))
        .collect();
    let weather = vec![WeatherDevice {
        id: DeviceId::new("mast"),
        plane: shape.sensor,
        every: shape.every,
    }];
    let channels = inverters.iter().flat_map(inverter_channels);
    let channels = ChannelTable::new(channels.chain(mast_channels(shape)));
    Plant {
        site: site(),
        modules: vec![module()],
        planes: vec![plane("north", 20.0, 0.0), plane("west", 15.0, 270.0)],
        inverters,
        weather,
        channels,
        timing: Timing {
            slot: Span::from_min(5).max(shape.every),
            allowed_lateness: Span::from_min(3),
            sync: Span::from_s(5),
        },
        false_alarms_per_inverter_year: 0.05,
    }
}

fn site() -> Site {
    Site {
        name: "Nowhere".to_owned(),
        latitude: Angle::from_deg(-35.0),
        longitude: Angle::from_deg(150.0),
        altitude_m: 300.0,
        commissioned: Time::from_unix_ms(0),
        linke_turbidity: [3.0; 12],
        design_coldest: None,
        design_hottest_cell: Temperature::from_degc(75.0),
        energy_price: None,
        grid_limits: grid_limits(),
    }
}

/// Limits in the style of AS/NZS 4777.2, region A; config/grid/au-a.toml has them with sources.
pub fn grid_limits() -> GridLimits {
    let volts = |v, s| VoltageLimit {
        limit: Voltage::from_v(v),
        within: Span::from_s(s),
    };
    let hertz = |hz| FrequencyLimit {
        limit: Frequency::from_hz(hz),
        within: Span::from_s(2),
    };
    GridLimits {
        rules: "test".to_owned(),
        nominal_voltage: Voltage::from_v(230.0),
        nominal_frequency: Frequency::from_hz(50.0),
        under_voltage: vec![volts(180.0, 11), volts(70.0, 2)],
        over_voltage: vec![volts(265.0, 2), volts(275.0, 1)],
        sustained_over_voltage: Some(Voltage::from_v(258.0)),
        under_frequency: vec![hertz(47.0)],
        over_frequency: vec![hertz(52.0)],
        volt_watt: Vec::new(),
        enter_service: Some(EnterService {
            voltage: (Voltage::from_v(205.0), Voltage::from_v(253.0)),
            frequency: (Frequency::from_hz(47.5), Frequency::from_hz(50.15)),
            delay: Span::from_s(60),
            random: Span::ZERO,
            ramp: Span::from_min(6),
        }),
    }
}

fn module() -> Module {
    Module {
        id: "mono-440".to_owned(),
        voc: Voltage::from_v(49.4),
        isc: Current::from_a(11.32),
        vmp: Voltage::from_v(41.1),
        imp: Current::from_a(10.71),
        cells_in_series: 72,
        bypass_sections: 3,
        isc_temp_ratio_per_k: 0.0005,
        voc_temp_ratio_per_k: -0.0027,
        pmax_temp_ratio_per_k: -0.0035,
        power_tolerance_ratio: 0.0,
        ageing: Ageing::NONE,
    }
}

fn plane(id: &str, tilt_deg: f64, azimuth_deg: f64) -> Plane {
    Plane {
        id: id.to_owned(),
        tilt: Angle::from_deg(tilt_deg),
        azimuth: Angle::from_deg(azimuth_deg),
        mounting: Mounting::OPEN_RACK,
        albedo_ratio: 0.2,
        horizon: None,
    }
}

fn inverter(n: usize, rated_w: f64, inputs: &[Strings], every: Span) -> Inverter {
    Inverter {
        id: DeviceId::new(format!("inv-{n}")),
        rated_ac: Power::from_w(rated_w),
        max_apparent: ApparentPower::from_va(rated_w),
        max_dc_voltage: Voltage::from_v(1100.0),
        start_voltage: Voltage::from_v(200.0),
        tracking_min: Voltage::from_v(160.0),
        tracking_max: Voltage::from_v(1000.0),
        phases: 3,
        efficiency: vec![EfficiencyPoint {
            load_ratio: 1.0,
            efficiency_ratio: EFFICIENCY_RATIO,
        }],
        derating: None,
        isolation_limit: Resistance::from_ohm(1100.0 / 0.03),
        inputs: (1..).zip(inputs).map(|(k, s)| input(k, s)).collect(),
        every,
    }
}

fn input(number: u8, strings: &Strings) -> Input {
    let string = |k: u8| PvString {
        label: format!("{number}-{k}"),
        module: 0,
        count: strings.modules,
        plane: strings.plane,
        cable_loop: Resistance::from_ohm(0.3),
    };
    Input {
        number,
        max_operating_current: Current::from_a(14.0 * f64::from(strings.parallel)),
        max_short_circuit_current: Current::from_a(18.0 * f64::from(strings.parallel)),
        strings: (1..=strings.parallel).map(string).collect(),
    }
}

/// What an inverter publishes.
const PUBLISHED: [Quantity; 17] = [
    Quantity::AcPower,
    Quantity::AcReactivePower,
    Quantity::AcVoltageL1,
    Quantity::AcVoltageL2,
    Quantity::AcVoltageL3,
    Quantity::AcCurrentL1,
    Quantity::AcCurrentL2,
    Quantity::AcCurrentL3,
    Quantity::Frequency,
    Quantity::State,
    Quantity::EventBits,
    Quantity::IsolationResistance,
    Quantity::ResidualCurrent,
    Quantity::PvPlusToEarth,
    Quantity::PvMinusToEarth,
    Quantity::PowerLimit,
    Quantity::HeatsinkTemperature,
];

fn inverter_channels(inverter: &Inverter) -> Vec<Channel> {
    let channel = |place, quantity| Channel {
        device: inverter.id.clone(),
        place,
        quantity,
    };
    let inputs = inverter.inputs.iter().flat_map(|input| {
        let place = Place::Input(input.number);
        [Quantity::DcVoltage, Quantity::DcCurrent].map(|quantity| channel(place, quantity))
    });
    let device = PUBLISHED.map(|quantity| channel(Place::Device, quantity));
    inputs.chain(device).collect()
}

fn mast_channels(shape: &Shape) -> Vec<Channel> {
    let poa = shape.sensor.map(|_| Quantity::Poa);
    let others = [Quantity::AirTemperature, Quantity::WindSpeed];
    let water = [Quantity::RelativeHumidity, Quantity::Rain];
    poa.into_iter()
        .chain(others)
        .chain(water)
        .map(|quantity| Channel {
            device: DeviceId::new("mast"),
            place: Place::Device,
            quantity,
        })
        .collect()
}
