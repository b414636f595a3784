//! What the site file of a drawn plant says of its site, its inverter and its channels.
//! Never in here: what is true.

use super::draw::Draw;
use super::sky::{Air, beam_transmittance};
use super::truth::{Sensing, TruePlane};
use crate::plant::grid_limits;
use analysis::plant::{
    EfficiencyPoint, Input, Inverter, Module, Plane, Plant, Site, Timing, WeatherDevice,
};
use analysis::reading::{
    Angle, ApparentPower, Channel, ChannelTable, DeviceId, Place, Power, Quantity, Resistance,
    Span, Temperature, Time, Voltage,
};

pub(super) fn site(draw: &mut Draw, [latitude, longitude, altitude_km, haze]: [f64; 4]) -> Site {
    // As a climatology would have it: the Linke turbidity that gives this beam at air mass 1.5, where
    // a Rayleigh atmosphere takes 1/9.007 of the exponent (Kasten 1996, from memory).
    let tau = beam_transmittance(1.5, &Air { altitude_km, haze });
    let linke = -tau.ln() * 9.007 / (0.8662 * 1.5) + 0.4 * draw.normal_within(2.0);
    Site {
        name: "Drawn".to_owned(),
        latitude: Angle::from_deg(latitude),
        longitude: Angle::from_deg(longitude),
        altitude_m: altitude_km * 1000.0,
        commissioned: Time::from_unix_ms(1_735_689_600_000),
        linke_turbidity: [linke.clamp(1.8, 6.5); 12],
        design_coldest: None,
        design_hottest_cell: Temperature::from_degc(75.0),
        energy_price: None,
        grid_limits: grid_limits(),
    }
}

/// The inverter as the site file has it.
pub(super) fn inverter(
    rated_w: f64,
    inputs: Vec<Input>,
    efficiency: &[f64; 4],
    every: Span,
) -> Inverter {
    let loads = [0.05, 0.2, 0.5, 1.0];
    let point = |(load_ratio, efficiency_ratio): (f64, &f64)| EfficiencyPoint {
        load_ratio,
        efficiency_ratio: *efficiency_ratio,
    };
    Inverter {
        id: DeviceId::new("inv-1"),
        rated_ac: Power::from_w(rated_w),
        max_apparent: ApparentPower::from_va(rated_w),
        max_dc_voltage: Voltage::from_v(1100.0),
        start_voltage: Voltage::from_v(200.0),
        tracking_min: Voltage::from_v(160.0),
        tracking_max: Voltage::from_v(1000.0),
        phases: 3,
        efficiency: loads.into_iter().zip(efficiency).map(point).collect(),
        derating: None,
        isolation_limit: Resistance::from_ohm(1100.0 / 0.03),
        inputs,
        every,
    }
}

const PUBLISHED: [Quantity; 9] = [
    Quantity::AcPower,
    Quantity::AcVoltageL1,
    Quantity::AcVoltageL2,
    Quantity::AcVoltageL3,
    Quantity::Frequency,
    Quantity::State,
    Quantity::EventBits,
    Quantity::IsolationResistance,
    Quantity::ResidualCurrent,
];

pub(super) fn plant(
    site: Site,
    module: Module,
    planes: Vec<(Plane, TruePlane)>,
    inverter: Inverter,
    sensing: Sensing,
    every: Span,
) -> Plant {
    let of = |device: &DeviceId, place, quantity| Channel {
        device: device.clone(),
        place,
        quantity,
    };
    let mast = DeviceId::new("mast");
    let weather: &[Quantity] = match sensing {
        Sensing::Plane => &[
            Quantity::Poa,
            Quantity::AirTemperature,
            Quantity::WindSpeed,
            Quantity::Rain,
        ],
        Sensing::Horizontal => &[Quantity::Ghi, Quantity::AirTemperature],
        Sensing::Nothing => &[],
    };
    let mut channels = Vec::new();
    for input in &inverter.inputs {
        let place = Place::Input(input.number);
        channels
            .extend([Quantity::DcVoltage, Quantity::DcCurrent].map(|q| of(&inverter.id, place, q)));
    }
    let device = PUBLISHED.into_iter().chain([Quantity::PowerLimit]);
    channels.extend(device.map(|q| of(&inverter.id, Place::Device, q)));
    channels.extend(weather.iter().map(|q| of(&mast, Place::Device, *q)));
    let mast = WeatherDevice {
        id: mast,
        plane: (sensing == Sensing::Plane).then_some(0),
        every,
    };
    Plant {
        site,
        modules: vec![module],
        planes: planes.into_iter().map(|p| p.0).collect(),
        inverters: vec![inverter],
        weather: (sensing != Sensing::Nothing)
            .then_some(mast)
            .into_iter()
            .collect(),
        channels: ChannelTable::new(channels),
        false_alarms_per_inverter_year: 0.05,
        timing: Timing {
            slot: Span::from_min(5).max(every),
            allowed_lateness: Span::from_min(3),
            sync: Span::from_s(5),
        },
    }
}
