//! Operating states and event bits, numbered as the open SunSpec models 101-113 number them.
//! Never in here: other numberings; a source translates them before they become readings.

use serde::{Deserialize, Serialize};

/// Operating state of an inverter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum State {
    /// Switched off.
    Off = 1,
    /// Asleep, usually at night.
    Sleeping = 2,
    /// Starting: checks, waiting for the supply.
    Starting = 3,
    /// Tracking the maximum power point.
    Tracking = 4,
    /// Producing less than it could.
    Throttled = 5,
    /// Shutting down.
    ShuttingDown = 6,
    /// Stopped by a fault.
    Fault = 7,
    /// Ready, not producing.
    Standby = 8,
}

impl State {
    /// From the number on the `state` channel; numbers that the open models do not know are `None`.
    pub fn from_number(number: f64) -> Option<Self> {
        let all = [
            Self::Off,
            Self::Sleeping,
            Self::Starting,
            Self::Tracking,
            Self::Throttled,
            Self::ShuttingDown,
            Self::Fault,
            Self::Standby,
        ];
        all.into_iter().find(|s| f64::from(*s as u8) == number)
    }

    /// Connected to the supply and producing.
    pub fn is_producing(self) -> bool {
        matches!(self, Self::Tracking | Self::Throttled)
    }
}

/// Event bits of the open SunSpec models 101-113 (`Evt1`) and 701 (`Alrm`). From 17 on they are those of
/// the models of DC inputs (160 and 714) that have no number there; a source has to translate them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum EventBit {
    /// Fault to earth.
    GroundFault = 0,
    /// DC voltage too high.
    DcOverVoltage = 1,
    /// AC side disconnected.
    AcDisconnect = 2,
    /// DC side disconnected.
    DcDisconnect = 3,
    /// Supply lost or outside its limits.
    GridDisconnect = 4,
    /// Cabinet open.
    CabinetOpen = 5,
    /// Stopped by hand or by command.
    ManualShutdown = 6,
    /// Too hot.
    OverTemperature = 7,
    /// Supply frequency too high.
    OverFrequency = 8,
    /// Supply frequency too low.
    UnderFrequency = 9,
    /// Supply voltage too high.
    AcOverVoltage = 10,
    /// Supply voltage too low.
    AcUnderVoltage = 11,
    /// A string fuse has blown.
    BlownStringFuse = 12,
    /// Too cold.
    UnderTemperature = 13,
    /// Memory or communication lost inside.
    MemoryLoss = 14,
    /// Self-test failed.
    HardwareTestFailure = 15,
    /// An alarm of the maker's own.
    MakersAlarm = 16,
    /// An arc in the array.
    ArcDetected = 17,
}

impl EventBit {
    /// Whether the bit is set in the number on the `event_bits` channel.
    pub fn is_set(self, bits: f64) -> bool {
        (bits as u32) & (1 << (self as u32)) != 0
    }
}
