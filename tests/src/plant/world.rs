//! The weather over the synthetic plant, and what goes wrong with it.
//! Never in here: curves.

use super::START;
use super::network::Network;
use super::noise::uniform;
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
    /// So much more resistance in a phase of the supply [ohm], phases from 0.
    JointWorse(usize, f64),
    /// The plane sensor shows this number whatever the light [W/m2].
    SensorShows(f64),
}

/// Something that happens.
#[derive(Debug, Clone, Copy)]
pub struct Event {
    /// When.
    pub period: Period,
    /// What.
    pub what: What,
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
    /// Whether inverters answer at night.
    pub answers_at_night: bool,
    /// The supply behind the meter.
    pub network: Network,
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
            answers_at_night: true,
            network: Network::STIFF,
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
