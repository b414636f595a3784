//! What each channel is to the engine, looked up once per plant instead of once per reading.
//! Never in here: values.

use super::supply::export_site;
use crate::detect::{ExportSite, Possible};
use crate::plant::{Input, Plant, WeatherDevice};
use crate::reading::{Channel, ChannelId, Place, Quantity};

/// A device by its place in the plant.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Device {
    Inverter(usize),
    Weather(usize),
}

/// Channels of one inverter that the engine reads by name.
#[derive(Debug, Clone)]
pub(super) struct InverterChannels {
    pub ac_power: Option<ChannelId>,
    pub state: Option<ChannelId>,
    pub power_limit: Option<ChannelId>,
    pub reactive_power: Option<ChannelId>,
    pub heatsink: Option<ChannelId>,
    /// Phase to neutral, L1 to L3.
    pub phase_voltages: [Option<ChannelId>; 3],
    /// By input, in the plant's order: voltage, current, power.
    pub inputs: Vec<InputChannels>,
    /// By input and string, in the plant's order: current.
    pub strings: Vec<Vec<Option<ChannelId>>>,
}

/// Channels of one input.
#[derive(Debug, Clone, Copy)]
pub(super) struct InputChannels {
    pub voltage: Option<ChannelId>,
    pub current: Option<ChannelId>,
    pub power: Option<ChannelId>,
}

#[derive(Debug, Clone)]
pub(super) struct Roles {
    devices: Vec<Option<Device>>,
    quantities: Vec<(Place, Quantity)>,
    pub inverters: Vec<InverterChannels>,
    pub export: ExportSite,
    /// What the values of each channel can be.
    possible: Vec<Possible>,
    pub wind: Vec<ChannelId>,
    /// Whether anything measures what warms the modules.
    pub has_heat: bool,
    /// By weather device: its light sensors, the best for telling the time first, and their plane; none
    /// for a horizontal sensor.
    pub light_of_weather: Vec<Vec<(ChannelId, Option<usize>)>>,
}

impl Roles {
    pub fn new(plant: &Plant) -> Self {
        let device = |channel: &Channel| {
            let inverter = plant.inverters.iter().position(|i| i.id == channel.device);
            let weather = plant.weather.iter().position(|w| w.id == channel.device);
            inverter
                .map(Device::Inverter)
                .or(weather.map(Device::Weather))
        };
        Self {
            devices: plant.channels.iter().map(|(_, c)| device(c)).collect(),
            quantities: plant
                .channels
                .iter()
                .map(|(_, c)| (c.place, c.quantity))
                .collect(),
            inverters: (0..plant.inverters.len())
                .map(|i| inverter_channels(plant, i))
                .collect(),
            export: export_site(plant),
            possible: plant
                .channels
                .iter()
                .map(|(_, c)| Possible::of(plant, c))
                .collect(),
            wind: plant
                .channels
                .iter()
                .filter(|(_, c)| c.quantity == Quantity::WindSpeed)
                .map(|(id, _)| id)
                .collect(),
            has_heat: plant.channels.iter().any(|(_, c)| {
                matches!(
                    c.quantity,
                    Quantity::AirTemperature | Quantity::ModuleTemperature
                )
            }),
            light_of_weather: plant
                .weather
                .iter()
                .map(|w| light_of_weather(plant, w))
                .collect(),
        }
    }

    pub fn possible(&self, channel: ChannelId) -> &Possible {
        &self.possible[usize::from(channel.0)]
    }

    pub fn device(&self, channel: ChannelId) -> Option<Device> {
        self.devices[usize::from(channel.0)]
    }

    pub fn quantity(&self, channel: ChannelId) -> (Place, Quantity) {
        self.quantities[usize::from(channel.0)]
    }
}

fn light_of_weather(plant: &Plant, device: &WeatherDevice) -> Vec<(ChannelId, Option<usize>)> {
    let id = |quantity| {
        plant.channels.id(&Channel {
            device: device.id.clone(),
            place: Place::Device,
            quantity,
        })
    };
    let horizontal = id(Quantity::Ghi).map(|id| (id, None));
    let in_plane = id(Quantity::Poa).filter(|_| device.plane.is_some());
    let in_plane = in_plane.map(|id| (id, device.plane));
    horizontal.into_iter().chain(in_plane).collect()
}

fn inverter_channels(plant: &Plant, index: usize) -> InverterChannels {
    let inverter = &plant.inverters[index];
    let id = |place, quantity| {
        plant.channels.id(&Channel {
            device: inverter.id.clone(),
            place,
            quantity,
        })
    };
    let input = |number| InputChannels {
        voltage: id(Place::Input(number), Quantity::DcVoltage),
        current: id(Place::Input(number), Quantity::DcCurrent),
        power: id(Place::Input(number), Quantity::DcPower),
    };
    let strings = |input: &Input| {
        let places = (1..).map(|s| Place::String(input.number, s));
        let of = input.strings.iter().zip(places);
        of.map(|(_, place)| id(place, Quantity::DcCurrent))
            .collect()
    };
    InverterChannels {
        ac_power: id(Place::Device, Quantity::AcPower),
        state: id(Place::Device, Quantity::State),
        power_limit: id(Place::Device, Quantity::PowerLimit),
        reactive_power: id(Place::Device, Quantity::AcReactivePower),
        heatsink: id(Place::Device, Quantity::HeatsinkTemperature),
        phase_voltages: [
            Quantity::AcVoltageL1,
            Quantity::AcVoltageL2,
            Quantity::AcVoltageL3,
        ]
        .map(|quantity| id(Place::Device, quantity)),
        inputs: inverter.inputs.iter().map(|i| input(i.number)).collect(),
        strings: inverter.inputs.iter().map(strings).collect(),
    }
}
