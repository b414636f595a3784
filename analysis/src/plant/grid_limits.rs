//! Protection limits of the supply: at which voltage and frequency an inverter must let go, and when
//! it may come back.
//! The numbers are data (`config/grid/`), with their sources; here is only their shape.

use crate::reading::{Frequency, Span, Voltage};
use serde::{Deserialize, Serialize};

/// Limits of one set of supply rules. Voltages are phase to neutral.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct GridLimits {
    /// Name of the rules, for people.
    pub rules: String,
    /// Nominal phase voltage.
    pub nominal_voltage: Voltage,
    /// Nominal frequency.
    pub nominal_frequency: Frequency,
    /// Under-voltage limits, mildest first.
    pub under_voltage: Vec<VoltageLimit>,
    /// Over-voltage limits, mildest first.
    pub over_voltage: Vec<VoltageLimit>,
    /// Limit of the ten-minute mean of the highest phase.
    pub sustained_over_voltage: Option<Voltage>,
    /// Under-frequency limits, mildest first.
    pub under_frequency: Vec<FrequencyLimit>,
    /// Over-frequency limits, mildest first.
    pub over_frequency: Vec<FrequencyLimit>,
    /// Active power against the highest phase voltage (volt-watt), rising in voltage, falling in
    /// power; empty where the rules give none.
    pub volt_watt: Vec<VoltWattPoint>,
    /// When an inverter may connect, and how it comes back to full power, where the rules say.
    pub enter_service: Option<EnterService>,
}

#[cfg(test)]
impl GridLimits {
    /// Rules of 230 V and 50 Hz that limit nothing.
    pub(crate) fn none() -> Self {
        Self {
            rules: "test".to_owned(),
            nominal_voltage: Voltage::from_v(230.0),
            nominal_frequency: Frequency::from_hz(50.0),
            under_voltage: Vec::new(),
            over_voltage: Vec::new(),
            sustained_over_voltage: None,
            under_frequency: Vec::new(),
            over_frequency: Vec::new(),
            volt_watt: Vec::new(),
            enter_service: None,
        }
    }
}

/// One point of a volt-watt line; straight between two of them, level beyond the ends.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VoltWattPoint {
    /// Highest phase voltage.
    pub voltage: Voltage,
    /// Active power allowed there over rated power [-].
    pub power_ratio: f64,
}

/// A voltage limit and how long it may be exceeded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct VoltageLimit {
    /// The limit.
    pub limit: Voltage,
    /// Longest time to disconnection.
    pub within: Span,
}

/// A frequency limit and how long it may be exceeded.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct FrequencyLimit {
    /// The limit.
    pub limit: Frequency,
    /// Longest time to disconnection.
    pub within: Span,
}

/// When an inverter may connect: every phase and the frequency inside their ranges without a break
/// for so long; then its power rises along the ramp.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EnterService {
    /// Lowest and highest phase voltage.
    pub voltage: (Voltage, Voltage),
    /// Lowest and highest frequency.
    pub frequency: (Frequency, Frequency),
    /// How long both must have been inside.
    pub delay: Span,
    /// Up to so much longer by chance, so that a network's inverters do not come back at once.
    pub random: Span,
    /// From no power to rated power.
    pub ramp: Span,
}

impl EnterService {
    /// Whether the supply is inside both ranges; `None` where neither is measured.
    pub fn is_good(&self, phases_v: Option<(f64, f64)>, frequency_hz: Option<f64>) -> Option<bool> {
        let volts = phases_v
            .map(|(highest, lowest)| lowest >= self.voltage.0.v() && highest <= self.voltage.1.v());
        let hertz =
            frequency_hz.map(|hz| (self.frequency.0.hz()..=self.frequency.1.hz()).contains(&hz));
        volts.into_iter().chain(hertz).reduce(|a, b| a && b)
    }
}
