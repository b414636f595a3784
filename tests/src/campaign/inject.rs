//! What each fault does to a plant, as the twin asks for it.
//! Never in here: how large it is and when it comes (`fault`).

use super::fault::Fault;
use super::truth::Object;
use analysis::plant::EventBit;
use analysis::reading::{Span, Time};

/// What a fault does.
#[derive(Debug, Clone, PartialEq)]
pub enum Act {
    /// The input carries nothing; whether its voltage stands at open circuit or is gone.
    Dead(bool),
    /// So many strings of the input carry nothing.
    Open(usize),
    /// So many sections of its first string are bridged.
    SectionsLost(f64),
    /// In series with its first string, the modules' side of the joint [ohm].
    Ohm(f64),
    /// All its strings get less light [-].
    LightLess(f64),
    /// A new object before it.
    Shade(Object),
    /// Dirt that grows to this over so many days [-, d]; rain ends it.
    Soiling(f64, f64),
    /// Total cover.
    Snow,
    /// Its tracker sits so far below the peak's power, on the side of the lower voltage if so [-].
    OffPeak(f64, bool),
    /// The inverter is off; its state says so, or nothing does.
    Off(bool),
    /// Insulation of the array [ohm], and whether the inverter still starts.
    Isolation(f64, bool),
    /// Insulation falls by so many decades a day.
    IsolationFalls(f64),
    /// Current to earth [A].
    Leaks(f64),
    /// The supply disconnects at these times for so long.
    Trips(Vec<(Time, Span)>),
    /// Rise of the voltage by the own full export [-].
    Rises(f64),
    /// So much more resistance in phase 1 of the supply, over what it was [-].
    Joint(f64),
    /// An event bit, on and off with its state.
    Bit(EventBit),
    /// A power limit is in force, over rated power; whether its register says so.
    Limit(f64, bool),
    /// The inverter loses so much more [-].
    Inefficient(f64),
    /// The inverter does not answer.
    Silent,
    /// Its registers stand still: of one input, or all.
    Frozen(bool),
    /// The input's current register shows this number.
    Shows(f64),
    /// Stamps are late by so much [ms].
    Clock(i64),
    /// The irradiance sensor shows so much of what is true [-].
    Sensor(f64),
    /// The input and another are exchanged.
    Swapped(usize),
    /// The input has so many more strings than the site file says.
    MoreStrings(i64),
    /// All modules lose so much a year [1/yr].
    Ages(f64),
}

/// The fault as it stands at a time.
#[derive(Debug, Clone, Copy)]
pub struct Standing<'f>(pub Option<&'f Fault>);

impl<'f> Standing<'f> {
    /// Of a plant's fault.
    pub fn at(fault: Option<&'f Fault>, at: Time) -> Self {
        Self(fault.filter(|f| f.began <= at && f.until.is_none_or(|until| at < until)))
    }

    fn act(&self) -> Option<&'f Act> {
        self.0.map(|f| &f.act)
    }

    fn of_input(&self, k: usize) -> Option<&'f Act> {
        self.0.filter(|f| f.input == Some(k)).map(|f| &f.act)
    }

    /// Strings of an input that carry nothing.
    pub fn open_strings(&self, k: usize) -> usize {
        match self.of_input(k) {
            Some(Act::Open(strings)) => *strings,
            _ => 0,
        }
    }

    /// What a string of an input lost: sections, and ohms that it gained.
    pub fn on_string(&self, k: usize, string: usize) -> (f64, f64) {
        match self.of_input(k) {
            Some(Act::SectionsLost(sections)) if string == 0 => (*sections, 0.0),
            Some(Act::Ohm(ohm)) if string == 0 => (0.0, *ohm),
            _ => (0.0, 0.0),
        }
    }

    /// Share of the light that reaches an input's modules at a time.
    pub fn light(&self, k: usize, at: Time) -> f64 {
        let Some(fault) = self.0 else { return 1.0 };
        let days = (at - fault.began).hours() / 24.0;
        match &fault.act {
            Act::LightLess(share) if fault.input == Some(k) => 1.0 - share,
            Act::Soiling(most, grows_d) => 1.0 - most * (days / grows_d).min(1.0),
            Act::Snow => 0.01,
            Act::Ages(per_year) => 1.0 - per_year * days / 365.25,
            _ => 1.0,
        }
    }

    /// A new object before an input.
    pub fn object(&self, k: usize) -> Option<Object> {
        match self.of_input(k) {
            Some(Act::Shade(object)) => Some(*object),
            _ => None,
        }
    }

    /// Whether an input carries nothing, and has a voltage then.
    pub fn dead(&self, k: usize) -> Option<bool> {
        match self.of_input(k) {
            Some(Act::Dead(has_voltage)) => Some(*has_voltage),
            _ => None,
        }
    }

    /// How far an input's tracker sits off the peak.
    pub fn off_peak(&self, k: usize) -> Option<(f64, bool)> {
        match self.of_input(k) {
            Some(Act::OffPeak(share, below)) => Some((*share, *below)),
            _ => None,
        }
    }

    /// Whether the inverter is off, and says so.
    pub fn off(&self) -> Option<bool> {
        match self.act() {
            Some(Act::Off(says)) => Some(*says),
            _ => None,
        }
    }

    /// A trip that lasts now, since when.
    pub fn trip(&self, at: Time) -> Option<Time> {
        let Some(Act::Trips(trips)) = self.act() else {
            return None;
        };
        let holds = |trip: &&(Time, Span)| trip.0 <= at && at < trip.0 + trip.1;
        trips.iter().find(holds).map(|trip| trip.0)
    }

    /// Insulation [ohm], from what it would be, and whether the inverter starts with it.
    pub fn insulation(&self, sound_ohm: f64, at: Time) -> (f64, bool) {
        match self.0.map(|f| (&f.act, f.began)) {
            Some((Act::Isolation(ohm, starts), _)) => (*ohm, *starts),
            Some((Act::IsolationFalls(decades_per_day), began)) => {
                let days = (at - began).hours() / 24.0;
                (sound_ohm * 10_f64.powf(-decades_per_day * days), true)
            }
            _ => (sound_ohm, true),
        }
    }

    /// Current to earth [A], if it is not sound.
    pub fn leak_a(&self) -> Option<f64> {
        match self.act() {
            Some(Act::Leaks(amps)) => Some(*amps),
            _ => None,
        }
    }

    /// Rise of phase 1 and of the others, from what it would be.
    pub fn rise(&self, sound: f64) -> [f64; 2] {
        match self.act() {
            Some(Act::Rises(rise)) => [*rise; 2],
            Some(Act::Joint(more)) => [sound * (1.0 + more), sound],
            _ => [sound; 2],
        }
    }

    /// An event bit.
    pub fn bit(&self) -> Option<EventBit> {
        match self.act() {
            Some(Act::Bit(bit)) => Some(*bit),
            _ => None,
        }
    }

    /// A power limit over rated power, and whether its register says so.
    pub fn limit(&self) -> Option<(f64, bool)> {
        match self.act() {
            Some(Act::Limit(ratio, says)) => Some((*ratio, *says)),
            _ => None,
        }
    }

    /// What the inverter loses more [-].
    pub fn inefficient(&self) -> f64 {
        match self.act() {
            Some(Act::Inefficient(share)) => *share,
            _ => 0.0,
        }
    }

    /// What happens to what is published.
    pub fn published(&self) -> Option<(&'f Act, Option<usize>)> {
        self.0.map(|f| (&f.act, f.input))
    }
}
