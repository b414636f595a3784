//! Channels: which quantity of which device, input or string, and how it is addressed.
//! Never in here: registers, topics, or where a value comes from.

use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::fmt;
use std::str::FromStr;
use std::sync::Arc;
use thiserror::Error;

/// Name of an inverter or weather device, as the site file gives it; clones share it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct DeviceId(Arc<str>);

impl DeviceId {
    /// From the site file's id. The caller has checked that it is a plain name without `/`.
    pub fn new(name: impl Into<Arc<str>>) -> Self {
        Self(name.into())
    }

    /// The name.
    pub fn as_str(&self) -> &str {
        &self.0
    }
}

impl fmt::Display for DeviceId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

/// Where on a device a quantity is measured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub enum Place {
    /// The device as a whole.
    Device,
    /// One MPPT input, numbered from 1.
    Input(u8),
    /// One string of an input, both numbered from 1.
    String(u8, u8),
}

/// Which places a quantity may stand at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scope {
    /// An MPPT input; a string too where `string` is true.
    Input {
        /// Whether strings may carry it as well.
        string: bool,
    },
    /// An inverter as a whole.
    Inverter,
    /// A weather device, or an inverter to which the sensors are wired.
    Weather,
}

/// One row per quantity: variant, name in files, scope, lowest and highest possible value.
///
/// The ranges are wider than any plant (common practice): outside them a number is a decoding
/// error or a sentinel, never weather. A pyranometer reads a few W/m2 below zero at night.
macro_rules! quantities {
    ($($variant:ident $name:literal $scope:expr, $low:literal, $high:literal, $doc:literal;)*) => {
        /// What is measured; the unit ends the name.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        pub enum Quantity {
            $(#[doc = $doc] $variant,)*
        }

        impl Quantity {
            /// Every quantity, in the order of the design document.
            pub const ALL: &'static [Quantity] = &[$(Quantity::$variant,)*];

            /// The name in files, with its unit at the end.
            pub const fn name(self) -> &'static str {
                match self { $(Quantity::$variant => $name,)* }
            }

            /// Where it may be measured.
            pub const fn scope(self) -> Scope {
                match self { $(Quantity::$variant => $scope,)* }
            }

            /// Lowest and highest value that can be a measurement, in the unit of the name.
            pub const fn possible_range(self) -> (f64, f64) {
                match self { $(Quantity::$variant => ($low, $high),)* }
            }
        }
    };
}

const INPUT: Scope = Scope::Input { string: false };
const INPUT_OR_STRING: Scope = Scope::Input { string: true };

quantities! {
    DcVoltage "dc_voltage_v" INPUT, -100.0, 3000.0, "Voltage of an input.";
    DcCurrent "dc_current_a" INPUT_OR_STRING, -50.0, 10_000.0, "Current of an input or a string.";
    DcPower "dc_power_w" INPUT, -1e5, 1e8, "Power of an input.";
    AcPower "ac_power_w" Scope::Inverter, -1e7, 1e9, "Active power to the supply.";
    AcReactivePower "ac_reactive_power_var" Scope::Inverter, -1e9, 1e9, "Reactive power.";
    AcVoltageL1 "ac_voltage_l1_v" Scope::Inverter, 0.0, 50_000.0, "Phase 1 to neutral.";
    AcVoltageL2 "ac_voltage_l2_v" Scope::Inverter, 0.0, 50_000.0, "Phase 2 to neutral.";
    AcVoltageL3 "ac_voltage_l3_v" Scope::Inverter, 0.0, 50_000.0, "Phase 3 to neutral.";
    AcCurrentL1 "ac_current_l1_a" Scope::Inverter, -1e4, 1e5, "Current of phase 1.";
    AcCurrentL2 "ac_current_l2_a" Scope::Inverter, -1e4, 1e5, "Current of phase 2.";
    AcCurrentL3 "ac_current_l3_a" Scope::Inverter, -1e4, 1e5, "Current of phase 3.";
    Frequency "frequency_hz" Scope::Inverter, 0.0, 100.0, "Frequency of the supply.";
    EnergyTotal "energy_total_wh" Scope::Inverter, 0.0, 1e15, "Lifetime energy counter.";
    IsolationResistance "isolation_resistance_ohm" Scope::Inverter, 0.0, 1e12, "Array to earth, as measured before a start.";
    ResidualCurrent "residual_current_a" Scope::Inverter, -100.0, 1000.0, "Leakage to earth.";
    HeatsinkTemperature "heatsink_temperature_degc" Scope::Inverter, -60.0, 200.0, "Heat sink of the inverter.";
    State "state" Scope::Inverter, 0.0, 255.0, "Operating state, numbered as `plant::State`.";
    EventBits "event_bits" Scope::Inverter, 0.0, 4_294_967_295.0, "Event bits, numbered as the open SunSpec models do.";
    PowerLimit "power_limit_ratio" Scope::Inverter, 0.0, 10.0, "Active power limit in force over rated power.";
    ReconnectWait "reconnect_wait_s" Scope::Inverter, 0.0, 1e6, "Time that it still waits before it connects to the supply.";
    PvPlusToEarth "pv_plus_to_earth_v" Scope::Inverter, -3000.0, 3000.0, "Positive pole to earth.";
    PvMinusToEarth "pv_minus_to_earth_v" Scope::Inverter, -3000.0, 3000.0, "Negative pole to earth.";
    Poa "poa_w_m2" Scope::Weather, -50.0, 2000.0, "Irradiance in a plane.";
    Ghi "ghi_w_m2" Scope::Weather, -50.0, 2000.0, "Global horizontal irradiance.";
    Dni "dni_w_m2" Scope::Weather, -50.0, 1500.0, "Direct normal irradiance.";
    Dhi "dhi_w_m2" Scope::Weather, -50.0, 1500.0, "Diffuse horizontal irradiance.";
    AirTemperature "air_temperature_degc" Scope::Weather, -70.0, 70.0, "Air temperature.";
    ModuleTemperature "module_temperature_degc" Scope::Weather, -70.0, 130.0, "Back of a module.";
    WindSpeed "wind_speed_m_s" Scope::Weather, 0.0, 120.0, "Wind speed.";
    RelativeHumidity "relative_humidity_ratio" Scope::Weather, 0.0, 1.1, "Relative humidity.";
    Rain "rain_mm" Scope::Weather, 0.0, 1000.0, "Rain since the last reading.";
    SnowDepth "snow_depth_m" Scope::Weather, 0.0, 30.0, "Snow on the ground.";
}

impl Quantity {
    /// The quantity with this name in files.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.iter().copied().find(|q| q.name() == name)
    }
}

/// Address of one channel: `<device>/<quantity>`, `<inverter>/input-<n>/<quantity>` or
/// `<inverter>/input-<n>/string-<k>/<quantity>`.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Channel {
    /// The device.
    pub device: DeviceId,
    /// Where on the device.
    pub place: Place,
    /// What is measured.
    pub quantity: Quantity,
}

/// Why a text is not a channel address.
#[derive(Debug, Clone, PartialEq, Eq, Error)]
pub enum ChannelError {
    /// The text does not have the parts of an address.
    #[error("found `{found}`, wanted <device>/<quantity> or <inverter>/input-<n>/<quantity>")]
    Shape {
        /// The text.
        found: String,
    },
    /// The last part names no quantity.
    #[error("found quantity `{found}`, wanted one of: {}", names())]
    Quantity {
        /// The last part.
        found: String,
    },
    /// The quantity exists and is not measured at such a place.
    #[error("found `{found}`, but {quantity} is not measured there")]
    Scope {
        /// The text.
        found: String,
        /// The quantity's name.
        quantity: &'static str,
    },
}

fn names() -> String {
    let names: Vec<_> = Quantity::ALL.iter().map(|q| q.name()).collect();
    names.join(", ")
}

impl fmt::Display for Channel {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (device, quantity) = (&self.device, self.quantity.name());
        match self.place {
            Place::Device => write!(f, "{device}/{quantity}"),
            Place::Input(n) => write!(f, "{device}/input-{n}/{quantity}"),
            Place::String(n, k) => write!(f, "{device}/input-{n}/string-{k}/{quantity}"),
        }
    }
}

impl FromStr for Channel {
    type Err = ChannelError;

    fn from_str(text: &str) -> Result<Self, ChannelError> {
        let shape = || ChannelError::Shape {
            found: text.to_owned(),
        };
        let parts: Vec<&str> = text.split('/').collect();
        let (device, place, name) = match parts.as_slice() {
            [device, name] => (*device, Place::Device, *name),
            [device, input, name] => {
                let n = numbered(input, "input-").ok_or_else(shape)?;
                (*device, Place::Input(n), *name)
            }
            [device, input, string, name] => {
                let n = numbered(input, "input-").ok_or_else(shape)?;
                let k = numbered(string, "string-").ok_or_else(shape)?;
                (*device, Place::String(n, k), *name)
            }
            _ => return Err(shape()),
        };
        if device.is_empty() {
            return Err(shape());
        }
        let quantity = Quantity::from_name(name).ok_or_else(|| ChannelError::Quantity {
            found: name.to_owned(),
        })?;
        let fits = match (quantity.scope(), place) {
            (Scope::Input { .. }, Place::Input(_)) => true,
            (Scope::Input { string }, Place::String(..)) => string,
            (Scope::Inverter | Scope::Weather, Place::Device) => true,
            (Scope::Input { .. }, Place::Device)
            | (Scope::Inverter | Scope::Weather, Place::Input(_) | Place::String(..)) => false,
        };
        if !fits {
            return Err(ChannelError::Scope {
                found: text.to_owned(),
                quantity: quantity.name(),
            });
        }
        Ok(Channel {
            device: DeviceId::new(device),
            place,
            quantity,
        })
    }
}

fn numbered(part: &str, prefix: &str) -> Option<u8> {
    let digits = part.strip_prefix(prefix)?;
    let number: u8 = digits.parse().ok()?;
    (number > 0 && digits == number.to_string()).then_some(number)
}

/// Number of a channel in a [`ChannelTable`]; only means something beside that table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ChannelId(pub u16);

/// All channels of a plant, numbered once so that readings stay small. Clones share it: a large plant
/// has some thirty thousand.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct ChannelTable(Arc<Numbered>);

#[derive(Debug, Default, PartialEq, Serialize, Deserialize)]
struct Numbered {
    channels: Vec<Channel>,
    ids: BTreeMap<Channel, ChannelId>,
}

impl ChannelTable {
    /// Numbers the channels in the order in which they come; a repeated one keeps its first number.
    pub fn new(channels: impl IntoIterator<Item = Channel>) -> Self {
        let mut table = Numbered::default();
        for channel in channels {
            let next = ChannelId(table.channels.len() as u16);
            if table.ids.contains_key(&channel) {
                continue;
            }
            table.ids.insert(channel.clone(), next);
            table.channels.push(channel);
        }
        Self(Arc::new(table))
    }

    /// The channel's number, if the plant has it.
    pub fn id(&self, channel: &Channel) -> Option<ChannelId> {
        self.0.ids.get(channel).copied()
    }

    /// The channel with this number.
    ///
    /// # Panics
    /// If the number comes from another table.
    pub fn channel(&self, id: ChannelId) -> &Channel {
        &self.0.channels[usize::from(id.0)]
    }

    /// All channels with their numbers, in order.
    pub fn iter(&self) -> impl Iterator<Item = (ChannelId, &Channel)> {
        self.0
            .channels
            .iter()
            .enumerate()
            .map(|(i, c)| (ChannelId(i as u16), c))
    }

    /// The channels of one device with their numbers, by place and quantity.
    pub fn of<'a>(
        &'a self,
        device: &'a DeviceId,
    ) -> impl Iterator<Item = (ChannelId, &'a Channel)> {
        let first = Channel {
            device: device.clone(),
            place: Place::Device,
            quantity: Quantity::ALL[0],
        };
        let from_there = self.0.ids.range(first..);
        let own = from_there.take_while(move |(channel, _)| &channel.device == device);
        own.map(|(channel, id)| (*id, channel))
    }

    /// How many channels there are.
    pub fn len(&self) -> usize {
        self.0.channels.len()
    }

    /// Whether there are none.
    pub fn is_empty(&self) -> bool {
        self.0.channels.is_empty()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_reads_back_as_it_was_written() {
        for text in [
            "inv-1/ac_power_w",
            "inv-1/input-2/dc_voltage_v",
            "inv-1/input-2/string-1/dc_current_a",
            "roof/poa_w_m2",
        ] {
            assert_eq!(text.parse::<Channel>().expect("valid").to_string(), text);
        }
    }

    #[test]
    fn a_device_has_its_own_channels_whatever_stands_beside_them() {
        let addresses = [
            "b/input-1/string-1/dc_current_a",
            "a/ac_power_w",
            "b/input-1/dc_voltage_v",
            "b-2/ac_power_w",
            "b/state",
        ];
        let channels = addresses.map(|text| text.parse::<Channel>().expect("valid"));
        let table = ChannelTable::new(channels.clone());
        let own: Vec<u16> = table.of(&DeviceId::new("b")).map(|(id, _)| id.0).collect();
        assert_eq!(own, [4, 2, 0]);
        assert_eq!(table.of(&DeviceId::new("c")).count(), 0);
        assert_eq!(table.channel(ChannelId(4)), &channels[4]);
    }

    #[test]
    fn a_wrong_address_says_what_was_found() {
        let wrong = |text: &str| text.parse::<Channel>().expect_err("invalid");
        assert!(matches!(wrong("inv-1"), ChannelError::Shape { .. }));
        assert!(matches!(
            wrong("inv-1/input-0/dc_voltage_v"),
            ChannelError::Shape { .. }
        ));
        assert!(matches!(
            wrong("inv-1/input-01/dc_voltage_v"),
            ChannelError::Shape { .. }
        ));
        assert!(matches!(
            wrong("inv-1/volts"),
            ChannelError::Quantity { .. }
        ));
        assert!(matches!(
            wrong("inv-1/dc_voltage_v"),
            ChannelError::Scope { .. }
        ));
        assert!(matches!(
            wrong("inv-1/input-1/string-1/dc_voltage_v"),
            ChannelError::Scope { .. }
        ));
    }
}
