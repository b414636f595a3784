//! The fixed facts of a plant: site, modules, planes, inverters with inputs and strings, sensors.
//! Never in here: readings, or where the facts were written down.

mod ageing;
pub mod design;
mod grid_limits;
mod grid_settings;
mod horizon;
mod state;

pub use ageing::Ageing;
pub use grid_limits::{EnterService, FrequencyLimit, GridLimits, VoltWattPoint, VoltageLimit};
pub use grid_settings::{Curve, Droop, EnterServiceSettings, GridSettings};
pub use horizon::{Corner, Horizon, HorizonError};
pub use state::{EventBit, State};

use crate::reading::{
    Angle, ApparentPower, ChannelTable, Current, DeviceId, Energy, Power, Resistance, Span,
    Temperature, Time, Voltage,
};
use serde::{Deserialize, Serialize};

/// Everything fixed about a plant. Built by the config crate, which has checked all of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plant {
    /// Name and place.
    pub site: Site,
    /// Module types in use.
    pub modules: Vec<Module>,
    /// Planes in use.
    pub planes: Vec<Plane>,
    /// Inverters.
    pub inverters: Vec<Inverter>,
    /// Weather devices.
    pub weather: Vec<WeatherDevice>,
    /// Every channel that a source may deliver.
    pub channels: ChannelTable,
    /// How the engine keeps time.
    pub timing: Timing,
    /// False alarms that it may give per inverter and year.
    pub false_alarms_per_inverter_year: f64,
}

/// Name and place of a site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Site {
    /// Name for people.
    pub name: String,
    /// North positive.
    pub latitude: Angle,
    /// East positive.
    pub longitude: Angle,
    /// Above sea level [m].
    pub altitude_m: f64,
    /// When it was handed over: modules age from here on.
    pub commissioned: Time,
    /// Linke turbidity of the clear sky, January to December [-].
    pub linke_turbidity: [f64; 12],
    /// Lowest module temperature to design for; `None` where the site file gives none.
    pub design_coldest: Option<Temperature>,
    /// Hottest cell temperature to design for.
    pub design_hottest_cell: Temperature,
    /// What a kilowatt-hour earns, and in which currency.
    pub energy_price: Option<EnergyPrice>,
    /// Protection limits of the supply rules in force.
    pub grid_limits: GridLimits,
}

/// What a kilowatt-hour earns.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EnergyPrice {
    /// Per kilowatt-hour.
    pub per_kwh: f64,
    /// ISO 4217 code.
    pub currency: String,
}

impl EnergyPrice {
    /// What an energy earns, in the currency.
    pub fn of(&self, energy: Energy) -> f64 {
        energy.wh() / 1000.0 * self.per_kwh
    }
}

/// A module type by its datasheet at standard test conditions.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Module {
    /// Name in the site file.
    pub id: String,
    /// Open-circuit voltage.
    pub voc: Voltage,
    /// Short-circuit current.
    pub isc: Current,
    /// Voltage at maximum power.
    pub vmp: Voltage,
    /// Current at maximum power.
    pub imp: Current,
    /// Cells in series.
    pub cells_in_series: u16,
    /// Sections with a bypass diode.
    pub bypass_sections: u8,
    /// Isc temperature coefficient over Isc [1/K].
    pub isc_temp_ratio_per_k: f64,
    /// Voc temperature coefficient over Voc [1/K].
    pub voc_temp_ratio_per_k: f64,
    /// Pmax temperature coefficient over Pmax [1/K].
    pub pmax_temp_ratio_per_k: f64,
    /// Half width of the power tolerance over rated power [-].
    pub power_tolerance_ratio: f64,
    /// Warranted loss of power.
    pub ageing: Ageing,
}

impl Module {
    /// Rated power.
    pub fn pmp(&self) -> Power {
        self.vmp * self.imp
    }
}

/// Modules with one tilt and one azimuth.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Plane {
    /// Name in the site file.
    pub id: String,
    /// From horizontal.
    pub tilt: Angle,
    /// Clockwise from north.
    pub azimuth: Angle,
    /// How the modules lose heat.
    pub mounting: Mounting,
    /// Ground reflectance [-].
    pub albedo_ratio: f64,
    /// What hides the sun from it, where the site file says.
    pub horizon: Option<Horizon>,
}

/// Heat loss of a mounting, Faiman / IEC 61853-2: T = T_air + G / (u0 + u1 v).
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Mounting {
    /// Constant part [W/(m2 K)].
    pub u0: f64,
    /// Part that grows with wind [W s/(m3 K)].
    pub u1: f64,
    /// Cell minus back of module at 1000 W/m2 [K].
    pub cell_over_back_k: f64,
}

impl Mounting {
    /// The defaults of IEC 61853-2 for an open rack; cell over back as the Sandia model has it there.
    pub const OPEN_RACK: Self = Self {
        u0: 25.0,
        u1: 6.84,
        cell_over_back_k: 3.0,
    };
}

/// An inverter with its inputs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Inverter {
    /// Name in the site file.
    pub id: DeviceId,
    /// Rated active power.
    pub rated_ac: Power,
    /// Highest apparent power.
    pub max_apparent: ApparentPower,
    /// Highest voltage that any input may see.
    pub max_dc_voltage: Voltage,
    /// Voltage at which it starts.
    pub start_voltage: Voltage,
    /// Lower end of the tracking window.
    pub tracking_min: Voltage,
    /// Upper end of the tracking window.
    pub tracking_max: Voltage,
    /// 1 or 3.
    pub phases: u8,
    /// Efficiency at points of load ratio, rising in load; one point means constant.
    pub efficiency: Vec<EfficiencyPoint>,
    /// How it takes back its power when it is hot; `None` where the site file gives nothing.
    pub derating: Option<Derating>,
    /// Lowest insulation resistance at which it may start.
    pub isolation_limit: Resistance,
    /// Its MPPT inputs.
    pub inputs: Vec<Input>,
    /// How often its source is read.
    pub every: Span,
}

/// One point of an efficiency curve.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct EfficiencyPoint {
    /// DC power over rated power [-].
    pub load_ratio: f64,
    /// AC over DC power [-].
    pub efficiency_ratio: f64,
}

/// How an inverter takes back its power when it is hot: P <= P_rated (1 - r (T - T_0)), T > T_0.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Derating {
    /// Temperature of the heat sink from which it does, T_0.
    pub from: Temperature,
    /// Share of rated power for each kelvin above, r [1/K].
    pub ratio_per_k: f64,
}

/// One MPPT input.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Input {
    /// From 1, as on the inverter's label.
    pub number: u8,
    /// Current that the tracker can take.
    pub max_operating_current: Current,
    /// Short-circuit current that the input withstands.
    pub max_short_circuit_current: Current,
    /// Strings in parallel.
    pub strings: Vec<PvString>,
}

impl Input {
    /// The plane of its first string; strings on mixed planes are a design problem of their own.
    pub fn plane(&self) -> usize {
        self.strings.first().map_or(0, |s| s.plane)
    }
}

/// Modules in series.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct PvString {
    /// Label on the cable.
    pub label: String,
    /// Index into [`Plant::modules`].
    pub module: usize,
    /// Modules in series.
    pub count: u16,
    /// Index into [`Plant::planes`].
    pub plane: usize,
    /// Both conductors from the string to the input.
    pub cable_loop: Resistance,
}

/// A device that reports weather.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WeatherDevice {
    /// Name in the site file.
    pub id: DeviceId,
    /// Index into [`Plant::planes`] of the plane its plane sensor lies in.
    pub plane: Option<usize>,
    /// How often its source is read.
    pub every: Span,
}

/// How the engine keeps time.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Timing {
    /// Length of a slot: five minutes, or the interval of a coarser recording.
    pub slot: Span,
    /// How late a reading may arrive and still count.
    pub allowed_lateness: Span,
    /// How far a sensor's and an inverter's stamps may be apart in one reading.
    pub sync: Span,
}

impl Plant {
    /// Largest power tolerance of an input's modules [-].
    pub fn power_tolerance_ratio(&self, input: &Input) -> f64 {
        let of = |s: &PvString| self.modules[s.module].power_tolerance_ratio;
        input.strings.iter().map(of).fold(0.0, f64::max)
    }

    /// Rated DC power of an input at standard test conditions.
    pub fn input_rated(&self, input: &Input) -> Power {
        let watts = |s: &PvString| f64::from(s.count) * self.modules[s.module].pmp().w();
        Power::from_w(input.strings.iter().map(watts).sum())
    }
}

impl Inverter {
    /// AC power from DC power: efficiency at that load, and no more than rated.
    pub fn ac_from_dc(&self, dc: Power) -> Power {
        Power::from_w(self.ac_without_limit(dc).w().min(self.rated_ac.w()))
    }

    /// AC power from DC power by efficiency alone, as if it could pass on any power.
    pub fn ac_without_limit(&self, dc: Power) -> Power {
        Power::from_w(dc.w() * self.efficiency_at(dc.w() / self.rated_ac.w()))
    }

    /// Linear between the points of the curve, constant beyond its ends.
    fn efficiency_at(&self, load_ratio: f64) -> f64 {
        let curve = &self.efficiency;
        let after = curve.partition_point(|p| p.load_ratio <= load_ratio);
        let before = after.checked_sub(1).and_then(|at| curve.get(at));
        match (before, curve.get(after)) {
            (Some(low), Some(high)) => {
                let share = (load_ratio - low.load_ratio) / (high.load_ratio - low.load_ratio);
                low.efficiency_ratio + share * (high.efficiency_ratio - low.efficiency_ratio)
            }
            (Some(end), None) | (None, Some(end)) => end.efficiency_ratio,
            (None, None) => 1.0,
        }
    }
}
