//! What is true of a drawn plant, beside what the site file says of it.
//! Never in here: how it is drawn (`plant_draw`), what it does (`twin`).

use super::section_curve::SectionModel;

/// What measures the weather.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sensing {
    /// Irradiance in the first plane, air and wind.
    Plane,
    /// Global horizontal irradiance and air.
    Horizontal,
    /// Nothing.
    Nothing,
}

impl Sensing {
    /// In words.
    pub fn name(self) -> &'static str {
        match self {
            Sensing::Plane => "plane sensor",
            Sensing::Horizontal => "GHI only",
            Sensing::Nothing => "no sensor",
        }
    }
}

/// A plane as it is.
#[derive(Debug, Clone, Copy)]
pub struct TruePlane {
    /// From horizontal [rad].
    pub tilt: f64,
    /// Clockwise from north [rad].
    pub azimuth: f64,
    /// Back of module over air = G exp(a + b v) [-, s/m].
    pub heat: [f64; 2],
    /// Cell over back at 1000 W/m2 [K].
    pub cell_over_back_k: f64,
    /// How slow it warms [s].
    pub inertia_s: f64,
    /// Of the glass [-].
    pub ar: f64,
    /// Of the ground [-].
    pub albedo: f64,
    /// A thing that stands before it from the first day.
    pub object: Option<Object>,
}

/// Something that hides the sun from part of the modules.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Object {
    /// Sun azimuth at which its shade comes and goes [deg].
    pub from_deg: f64,
    /// See above [deg].
    pub to_deg: f64,
    /// Up to this sun elevation [deg].
    pub below_deg: f64,
    /// Share of the sections in its shade [-].
    pub share: f64,
    /// What it leaves of the beam there [-].
    pub leaves: f64,
}

impl Object {
    /// Whether its shade falls on the plane.
    pub fn shades(&self, azimuth_deg: f64, elevation_deg: f64) -> bool {
        let width = (self.to_deg - self.from_deg).rem_euclid(360.0);
        (azimuth_deg - self.from_deg).rem_euclid(360.0) < width && elevation_deg < self.below_deg
    }
}

/// A string as it is.
#[derive(Debug, Clone, Copy)]
pub struct TrueString {
    /// In series.
    pub modules: f64,
    /// Of its plane.
    pub plane: usize,
    /// Current over the batch's [-].
    pub current_ratio: f64,
    /// Voltage over the batch's [-].
    pub voltage_ratio: f64,
    /// Share of its modules that are weaker, and by how much [-].
    pub weaker: (f64, f64),
    /// Cable, both ways [ohm].
    pub cable_ohm: f64,
}

/// An input as it is.
#[derive(Debug, Clone)]
pub struct TrueInput {
    /// Its strings.
    pub strings: Vec<TrueString>,
    /// When a cloud reaches it, after the sensor [s].
    pub lag_s: f64,
    /// What its meters show over what is there: voltage, current [-].
    pub gains: [f64; 2],
    /// Voltage off the peak that its tracker wanders by, one standard deviation [-].
    pub wander: f64,
}

/// A plant as it is.
#[derive(Debug, Clone)]
pub struct Truth {
    /// Of all noise.
    pub seed: u64,
    /// North positive [deg].
    pub latitude_deg: f64,
    /// East positive [deg].
    pub longitude_deg: f64,
    /// Above sea level [km].
    pub altitude_km: f64,
    /// Mean haze of its air [-].
    pub haze: f64,
    /// Weights of clear, broken and overcast days.
    pub climate: [f64; 3],
    /// Mean air temperature, half the swing of the year and of the day [degC, K, K].
    pub air: [f64; 3],
    /// Its planes.
    pub planes: Vec<TruePlane>,
    /// Its modules.
    pub section: SectionModel,
    /// Sections of one.
    pub sections: f64,
    /// Its inputs.
    pub inputs: Vec<TrueInput>,
    /// What the inverter gives at 5, 20, 50 and 100 % of its load [-].
    pub efficiency: [f64; 4],
    /// Rise of the voltage by its own full export, and voltage without it [-, V].
    pub supply: (f64, f64),
    /// Insulation of the array on a dry morning [ohm], and what is left when it is wet [-].
    pub insulation: (f64, f64),
    /// Dirt per dry day [-].
    pub soiling_per_day: f64,
    /// Export limit in force on some days, over rated power.
    pub export_limit: Option<f64>,
    /// What the weather sensors show: gain, offset [W/m2], drift per day, air offset [K].
    pub sensor: [f64; 4],
    /// A photovoltaic sensor, which sees the spectrum and the glass as the array does.
    pub sensor_is_cell: bool,
    /// Steps of the registers: voltage, current, power [V, A, W].
    pub steps: [f64; 3],
    /// Share of the polls that nobody answers.
    pub missing: f64,
    /// Whether the inverter answers at night, and says that it is throttled.
    pub habits: [bool; 2],
    /// What the meter of AC power shows over what is there [-].
    pub ac_gain: f64,
    /// The clock that stamps the polls is this much late [s].
    pub clock_s: f64,
}
