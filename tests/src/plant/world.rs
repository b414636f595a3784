//! The weather over the synthetic plant, and what goes wrong with it.
//! Never in here: curves.

use super::START;
use super::network::Network;
use super::noise::{normal, uniform};
use analysis::plant::EventBit;
use analysis::reading::{Span, Time};

/// From one time up to another.
#[derive(Debug, Clone, Copy)]
pub struct Period {
    /// First moment.
    pub from: Time,
    /// First moment after it.
    pub to: Time,
}

impl Period {
    /// Between two hours of solar time, on days counted from 0.
    pub fn new((day, hour): (i64, f64), (last_day, last_hour): (i64, f64)) -> Self {
        Self {
            from: on(day, hour),
            to: on(last_day, last_hour),
        }
    }

    /// Whether it is now.
    pub fn holds(&self, at: Time) -> bool {
        self.from <= at && at < self.to
    }
}

fn on(day: i64, hour: f64) -> Time {
    START + Span::from_h(24 * day) + Span::from_s((hour * 3600.0).round() as i64)
}

/// What can happen; inverters and inputs by index.
#[derive(Debug, Clone, Copy)]
pub enum What {
    /// Some strings of an input carry nothing.
    StringsOpen {
        /// Inverter and input.
        input: (usize, usize),
        /// How many strings.
        count: u8,
    },
    /// A device does not answer: an inverter, or `None` for the mast.
    Silent(Option<usize>),
    /// The supply's voltage is this much higher [V], on all inverters.
    SupplyHigher(f64),
    /// An inverter is off the supply and says why.
    Tripped(usize, Option<EventBit>),
    /// Water in the array: the inverter does not start.
    Leaks(usize),
    /// An inverter that does not start says so by its insulation alone, this much [ohm].
    LeaksWithoutBit(usize, f64),
    /// A single fault to earth at this share of the strings of the first input of an inverter, from
    /// their negative end; idle poles show it.
    FaultAt(usize, f64),
    /// Current to earth of an inverter [A].
    ResidualCurrent(usize, f64),
    /// It rains [mm/h].
    Rains(f64),
    /// Relative humidity [-].
    Humid(f64),
    /// The inverter is stopped, without a word.
    Stopped(usize),
    /// An inverter is told to pass on no more than this share of its rated power.
    Commanded(usize, f64),
    /// An inverter holds back to this share of its rated power and publishes no word about it.
    HeldBack(usize, f64),
    /// An inverter takes this share of its highest apparent power as reactive power.
    Reactive(usize, f64),
    /// The heat sink of an inverter is this hot [degC].
    Hot(usize, f64),
    /// This share of the light gets through what lies on the modules of an inverter.
    Covered(usize, f64),
    /// This share of the light gets through what lies on the modules of an input: by inverter and
    /// input.
    Dimmed((usize, usize), f64),
    /// This share of the voltage of an input is gone: sections of its strings.
    VoltageLost((usize, usize), f64),
    /// So much more resistance in each string of an input [ohm].
    JointInString((usize, usize), f64),
    /// So much more resistance in a phase of the supply [ohm], phases from 0.
    JointWorse(usize, f64),
    /// The tracker of an input holds it at this share of its peak's voltage: by inverter and input.
    OffPeak((usize, usize), f64),
    /// An inverter makes this share of the AC power that its efficiency makes of its DC power.
    Converts(usize, f64),
    /// An inverter shows a bit, and goes on.
    Shows(usize, EventBit),
    /// The plane sensor shows this number whatever the light [W/m2].
    SensorShows(f64),
}

/// Something between the sun and an input, where the sun stands in these angles.
#[derive(Debug, Clone, Copy)]
pub struct Obstacle {
    /// When it is there.
    pub period: Period,
    /// By inverter and input.
    pub input: (usize, usize),
    /// From and to, clockwise from north, where the sun is behind it [deg].
    pub azimuth_deg: (f64, f64),
    /// Up to which elevation of the sun it reaches [deg].
    pub up_to_deg: f64,
    /// Share of the beam that it takes: from all modules, or from some, which are passed by then [-].
    pub takes: f64,
    /// Modules of each string that lie in the shade; all where `None`.
    pub modules: Option<u16>,
}

impl Obstacle {
    /// Whether the sun stands behind it.
    pub fn hides(&self, at: Time, azimuth_deg: f64, elevation_deg: f64) -> bool {
        let width_deg = (self.azimuth_deg.1 - self.azimuth_deg.0).rem_euclid(360.0);
        let inside_deg = (azimuth_deg - self.azimuth_deg.0).rem_euclid(360.0);
        self.period.holds(at) && inside_deg < width_deg && elevation_deg < self.up_to_deg
    }
}

/// Something that happens.
#[derive(Debug, Clone, Copy)]
pub struct Event {
    /// When.
    pub period: Period,
    /// What.
    pub what: What,
}

/// Insulation of the arrays from day to day: measured at the first light and published until the next.
/// On a wet morning on which it is under its limit an inverter does not start before ten, when its
/// array has dried.
#[derive(Debug, Clone, Copy)]
pub struct Insulation {
    /// On the first day, dry [ohm].
    pub dry_ohm: f64,
    /// What it loses of that in 30 days [-].
    pub fall_ratio_per_month: f64,
    /// One standard deviation from morning to morning [decades].
    pub scatter_decades: f64,
    /// What is left of it on a wet morning [-].
    pub wet_ratio: f64,
}

impl Insulation {
    /// Good and dry for ever.
    pub const SOUND: Self = Self {
        dry_ohm: 1.8e6,
        fall_ratio_per_month: 0.0,
        scatter_decades: 0.0,
        wet_ratio: 1.0,
    };
}

/// Weather, errors of the sensors, and what happens.
#[derive(Debug, Clone)]
pub struct World {
    /// Of all noise.
    pub seed: u64,
    /// Share of cloudy sky, day by day; it starts over at the end.
    pub cloudiness: Vec<f64>,
    /// Mean air temperature [degC].
    pub air_degc: f64,
    /// What the plane sensor shows over what is true [-].
    pub sensor_ratio: f64,
    /// What the plane sensor loses of that day by day [1/d].
    pub sensor_drift_per_day: f64,
    /// What the air sensor shows more than is true [K].
    pub air_error_k: f64,
    /// Steps of what inverters publish: voltage [V], current [A] and AC power [W].
    pub steps: Option<(f64, f64, f64)>,
    /// Whether inverters answer at night.
    pub answers_at_night: bool,
    /// The supply behind the meter.
    pub network: Network,
    /// Whether the mast measures rain and humidity.
    pub measures_water: bool,
    /// Of all arrays.
    pub insulation: Insulation,
    /// Share of the mornings that are wet, each by chance [-].
    pub wet_mornings: f64,
    /// What dirt takes day by day [1/d], and every how many days rain of 10 mm washes it off.
    pub dirt: (f64, i64),
    /// What all modules lose a year [1/year].
    pub yearly_loss: f64,
    /// What shades inputs.
    pub obstacles: Vec<Obstacle>,
    /// Everything that happens.
    pub events: Vec<Event>,
}

impl World {
    /// Sun and scattered clouds on a mild day, true sensors, nothing wrong.
    pub fn fair() -> Self {
        Self {
            seed: 1,
            cloudiness: vec![0.0, 0.3, 0.1],
            air_degc: 18.0,
            sensor_ratio: 1.0,
            sensor_drift_per_day: 0.0,
            air_error_k: 0.0,
            steps: None,
            answers_at_night: true,
            network: Network::STIFF,
            measures_water: false,
            insulation: Insulation::SOUND,
            wet_mornings: 0.0,
            dirt: (0.0, 1),
            yearly_loss: 0.0,
            obstacles: Vec::new(),
            events: Vec::new(),
        }
    }

    /// With one more thing that happens.
    pub fn with(mut self, period: Period, what: What) -> Self {
        self.events.push(Event { period, what });
        self
    }

    /// What happens now.
    pub fn now(&self, at: Time) -> impl Iterator<Item = What> {
        let holds = move |event: &&Event| event.period.holds(at);
        self.events.iter().filter(holds).map(|event| event.what)
    }

    /// Share of the clear sky's global irradiance [-]: clouds that come and go within minutes.
    pub fn clearness(&self, at: Time) -> f64 {
        const CLOUD: Span = Span::from_min(7);
        const DEEPEST: f64 = 0.75;
        const EDGE: f64 = 0.25;
        let day = (at - START).ms().div_euclid(86_400_000) as usize;
        let cloudy = self.cloudiness[day % self.cloudiness.len()];
        let before = at.slot_start(CLOUD);
        let node = |time: Time| uniform(self.seed, time.unix_ms() as u64);
        let share = (at - before).seconds() / CLOUD.seconds();
        let level = node(before) * (1.0 - share) + node(before + CLOUD) * share;
        let depth = ((level - (1.0 - cloudy)) / EDGE).clamp(0.0, 1.0);
        1.0 - DEEPEST * depth
    }

    /// Whether the morning of this day is wet.
    pub fn is_wet_morning(&self, day: i64) -> bool {
        uniform(self.seed ^ 0x5EED, day as u64) < self.wet_mornings
    }

    /// What an inverter measures on this day [ohm], while its array is wet or dry.
    pub fn insulation_ohm(&self, inverter: usize, day: i64, wet: bool) -> f64 {
        let insulation = &self.insulation;
        let months = day as f64 / 30.0;
        let scatter = normal(self.seed ^ (0x0153 + inverter as u64), day as u64);
        let decades = insulation.scatter_decades * scatter
            + months * (1.0 - insulation.fall_ratio_per_month).log10();
        let left = if wet { insulation.wet_ratio } else { 1.0 };
        insulation.dry_ohm * left * 10_f64.powf(decades)
    }

    /// Whether it is the morning of a wet day, before ten.
    pub fn is_wet(&self, at: Time) -> bool {
        const WET_UNTIL_H: f64 = 10.0;
        let hours = (at - START).hours();
        let (day, hour) = (hours.div_euclid(24.0) as i64, hours.rem_euclid(24.0));
        hour < WET_UNTIL_H && self.is_wet_morning(day)
    }

    /// Relative humidity [-]: high on wet mornings.
    pub fn humidity_ratio(&self, at: Time) -> f64 {
        let told = self.now(at).find_map(|what| match what {
            What::Humid(ratio) => Some(ratio),
            _ => None,
        });
        let by_day = if self.is_wet(at) { 0.96 } else { 0.6 };
        told.unwrap_or(by_day)
    }

    /// What dirt and age leave of the light [-].
    pub fn left(&self, at: Time) -> f64 {
        let days = (at - START).hours() / 24.0;
        let (per_day, washed_every) = self.dirt;
        let age = 1.0 - self.yearly_loss * days / 365.25;
        age * (1.0 - per_day * days.rem_euclid(washed_every as f64))
    }

    fn washes(&self, at: Time) -> bool {
        let hours = (at - START).hours();
        let (day, hour) = (hours.div_euclid(24.0) as i64, hours.rem_euclid(24.0));
        self.dirt.0 > 0.0 && day > 0 && day % self.dirt.1 == 0 && hour < 2.0
    }

    /// Rain [mm/h].
    pub fn rain_mm_per_h(&self, at: Time) -> f64 {
        let rain = self.now(at).filter_map(|what| match what {
            What::Rains(mm_per_h) => Some(mm_per_h),
            _ => None,
        });
        rain.sum::<f64>() + if self.washes(at) { 5.0 } else { 0.0 }
    }

    /// What the plane sensor shows over what is true.
    pub fn sensor_ratio(&self, at: Time) -> f64 {
        let days = (at - START).hours() / 24.0;
        self.sensor_ratio * (1.0 - self.sensor_drift_per_day * days)
    }

    /// The clearness of the last half hour, the latest minutes most: modules are slow to warm.
    pub fn remembered_clearness(&self, at: Time) -> f64 {
        const INERTIA_MIN: f64 = 8.0;
        let ages = (0..30).step_by(3);
        let weighed = ages.map(|minutes| {
            let weight = (-f64::from(minutes) / INERTIA_MIN).exp();
            let then = at - Span::from_min(i64::from(minutes));
            (weight, weight * self.clearness(then))
        });
        let (weights, sum) = weighed.fold((0.0, 0.0), |sum, w| (sum.0 + w.0, sum.1 + w.1));
        sum / weights
    }

    /// True air temperature [degC]: warmest in mid-afternoon.
    pub fn air_degc(&self, at: Time) -> f64 {
        const SWING_K: f64 = 6.0;
        const WARMEST_H: f64 = 15.0;
        let hour = (at - START).hours();
        let phase = (hour - WARMEST_H) / 24.0 * std::f64::consts::TAU;
        self.air_degc + SWING_K * phase.cos()
    }
}
