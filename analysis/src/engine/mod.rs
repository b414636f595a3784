//! The engine: readings and ticks in, slots and findings out.
//!
//! `step` is the only way in. A replayed year and a live day differ in who moves the watermark and
//! in nothing else; the state can be saved after any step and gone on with.
//! Never in here: formulas (`sky`, `array`, `expected`), thresholds (`detect`, `diagnose`).

mod array_days;
mod array_references;
mod carried;
mod earth;
mod inputs;
mod inverter_days;
mod light;
mod limits;
mod losses;
mod measuring;
mod planes;
mod polls;
mod protection;
mod roles;
mod settings;
mod shade;
mod slots;
mod state;
mod strings;
mod supply;
mod survey;
mod trackers;
mod wiring;

pub use carried::{morning_still_holds, still_holds};
pub use state::{EngineState, STATE_VERSION};

use crate::detect::{Morning, Slot};
use crate::diagnose::Finding;
use crate::expected::orientation::{OrientationFit, Receiver, ReceiverKind};
use crate::expected::{Chain, ChainError, Ladder, Learned, LearnedOf, PlaneSurvey, SupplyNumber};
use crate::plant::{GridLimits, GridSettings, Plant};
use crate::reading::{Offer, Reading, Temperature, Time};
use roles::Roles;
use std::sync::Arc;
use thiserror::Error;

/// What a step takes.
#[derive(Debug, Clone, PartialEq)]
pub enum Input {
    /// A reading of any channel of the plant, in any order within the allowed lateness.
    Reading(Reading),
    /// What an inverter publishes of its protection, in force from then on: its place in the plant,
    /// when it was read, and what stood there. In any order within the allowed lateness.
    Settings(usize, Time, Box<GridSettings>),
    /// The watermark: it is now this late, and nothing older than the allowed lateness will come.
    Tick(Time),
    /// Nobody looked until now: the program was off, or the clock was set. Silence counts from here;
    /// where time has gone back, so do the slots.
    Resumed(Time),
    /// A recording ends here: slots are closed, and silence after it means nothing.
    End(Time),
}

/// What a step gives.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Output {
    /// Slots that were closed, in order of time.
    pub slots: Vec<Slot>,
    /// Findings that began or ended.
    pub findings: Vec<Finding>,
    /// What is known of planes and inputs, after a day has been learned from.
    pub learned: Vec<Learned>,
    /// What of it that was known before this step does not hold any more.
    pub forgotten: Vec<LearnedOf>,
    /// Mornings of insulation that are over, by inverter.
    pub mornings: Vec<(usize, Morning)>,
    /// What became of an offered reading that will take no part.
    pub refused: Option<Offer>,
}

/// Why an engine cannot start or go on.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum EngineError {
    /// The plant cannot be modelled.
    #[error(transparent)]
    Chain(#[from] ChainError),
    /// The saved state is of another version.
    #[error("go on with a state of version {found}, this program writes {wanted}")]
    StateVersion {
        /// Version in the state.
        found: u32,
        /// Version of this program.
        wanted: u32,
    },
    /// The saved state belongs to this other plant description.
    #[error("go on with the state of another plant description")]
    OtherPlant(Box<Plant>),
    /// The saved state is none.
    #[error("go on with a state that cannot be read")]
    Unreadable,
}

/// The engine of one plant.
#[derive(Debug, Clone)]
pub struct Engine {
    plant: Arc<Plant>,
    roles: Roles,
    ladder: Ladder,
    chain: Chain,
    state: EngineState,
    /// By inverter: the site's rules, and in their place what it publishes.
    limits: Vec<GridLimits>,
    /// One for all planes and days: it costs some milliseconds to make.
    orientation: OrientationFit,
    /// Learned in this step.
    learned: Vec<Learned>,
    /// Forgotten in this step, before that.
    forgotten: Vec<LearnedOf>,
    /// Over since the last output.
    mornings: Vec<(usize, Morning)>,
    /// Whether this step ends a recording.
    is_ending: bool,
}

/// The plant without what changes no number: names, prices and what only a design check reads.
fn physical(plant: &Plant) -> Plant {
    let mut plant = plant.clone();
    plant.site.name.clear();
    plant.false_alarms_per_inverter_year = 0.0;
    plant.site.energy_price = None;
    plant.site.design_coldest = None;
    plant.site.design_hottest_cell = Temperature::from_degc(0.0);
    plant
}

impl Engine {
    /// An engine that has seen nothing yet.
    ///
    /// # Errors
    /// If a module's datasheet cannot be fitted.
    pub fn new(plant: Arc<Plant>) -> Result<Self, EngineError> {
        let state = EngineState::new(&plant);
        Self::with_state(plant, state)
    }

    /// An engine that goes on where `state` was saved.
    ///
    /// # Errors
    /// If the state is of another version or plant, or a datasheet cannot be fitted.
    pub fn resume(plant: Arc<Plant>, mut state: EngineState) -> Result<Self, EngineError> {
        if state.version != STATE_VERSION {
            return Err(EngineError::StateVersion {
                found: state.version,
                wanted: STATE_VERSION,
            });
        }
        let physical = physical(&plant);
        if state.plant != physical {
            return Err(EngineError::OtherPlant(Box::new(state.plant)));
        }
        // The same, and it shares its channels.
        state.plant = physical;
        Self::with_state(plant, state)
    }

    fn with_state(plant: Arc<Plant>, state: EngineState) -> Result<Self, EngineError> {
        let chain = Chain::new(&plant)?;
        let roles = Roles::new(&plant);
        let mut ladder = Ladder::new(&plant);
        for (p, survey) in state.surveys.iter().enumerate() {
            if let Some(found) = survey.taken() {
                ladder.turn(p, found.applied_to(&plant.planes[p]));
            }
        }
        let limits = settings::limits(&plant, &state);
        Ok(Self {
            plant,
            limits,
            roles,
            ladder,
            chain,
            state,
            orientation: OrientationFit::new(Receiver::new(ReceiverKind::FlatGlass)),
            learned: Vec::new(),
            forgotten: Vec::new(),
            mornings: Vec::new(),
            is_ending: false,
        })
    }

    /// Takes one reading or tick.
    pub fn step(&mut self, input: Input) -> Output {
        match input {
            Input::Reading(reading) => {
                let offer = self.state.arrivals.offer(reading);
                Output {
                    refused: (offer != Offer::Waiting).then_some(offer),
                    ..Output::default()
                }
            }
            Input::Settings(i, at, settings) => {
                self.take_settings(i, at, *settings);
                Output::default()
            }
            Input::Tick(watermark) => {
                let slots = self.advance(watermark);
                self.watch_silence(watermark - self.plant.timing.allowed_lateness);
                self.output(slots)
            }
            Input::Resumed(at) => {
                self.begin_links(at);
                if self
                    .state
                    .arrivals
                    .go_back(at - self.plant.timing.allowed_lateness)
                {
                    self.state.filling = None;
                    self.state.before = None;
                    self.state.calibration.forget_today();
                    self.forget_shade_today();
                    self.forget_planes_today();
                    self.state.measuring.forget_today();
                    let surveys = &mut self.state.surveys;
                    surveys.iter_mut().for_each(PlaneSurvey::forget_today);
                    for inverter in &mut self.state.inverters {
                        inverter.own.forget_today();
                        let inputs = inverter.inputs.iter_mut();
                        inputs.for_each(|input| input.array.forget_today());
                    }
                }
                self.output(Vec::new())
            }
            Input::End(at) => {
                self.is_ending = true;
                let slots = self.advance(at + self.plant.timing.allowed_lateness);
                self.is_ending = false;
                self.output(slots)
            }
        }
    }

    /// Takes over baselines that an earlier run has kept, before the first step.
    pub fn recall(&mut self, baselines: impl IntoIterator<Item = Learned>) {
        let mut baselines: Vec<Learned> = baselines.into_iter().collect();
        // What belongs to a resistance comes after it.
        let is_later =
            |l: &Learned| matches!(l.of, LearnedOf::Supply(_, _, SupplyNumber::Reactive));
        baselines.sort_by_key(is_later);
        for Learned { of, baseline, .. } in baselines {
            match of {
                LearnedOf::Supply(i, phase, number) => {
                    let supply = self.state.inverters.get_mut(i).map(|i| &mut i.supply_days);
                    supply
                        .into_iter()
                        .for_each(|s| s.recall(phase, number, &baseline));
                }
                _ => self.state.calibration.recall(of, baseline),
            }
        }
    }

    /// Takes over mornings of insulation that an earlier run has kept, in order of time, before the
    /// first step.
    pub fn recall_mornings(&mut self, mornings: impl IntoIterator<Item = (usize, Morning)>) {
        for (i, morning) in mornings {
            if let Some(inverter) = self.state.inverters.get_mut(i) {
                inverter.earth.recall(morning);
            }
        }
    }

    /// Everything needed to go on later.
    pub fn state(&self) -> &EngineState {
        &self.state
    }

    /// The plant.
    pub fn plant(&self) -> &Arc<Plant> {
        &self.plant
    }

    /// The findings that stand, with what they have cost so far.
    pub fn standing(&self) -> impl Iterator<Item = &Finding> {
        self.state.book.standing()
    }

    /// Lets through what can no longer be overtaken, and closes the slots behind it.
    fn advance(&mut self, watermark: Time) -> Vec<Slot> {
        let until = watermark - self.plant.timing.allowed_lateness;
        let mut released = self.state.arrivals.release(until);
        // Readings of one device at one time belong together, wherever their channels are numbered.
        released.sort_by_key(|r| (r.at, self.roles.device(r.channel)));
        let mut slots = Vec::new();
        let same_poll = |a: &Reading, b: &Reading| {
            a.at == b.at && self.roles.device(a.channel) == self.roles.device(b.channel)
        };
        let polls: Vec<&[Reading]> = released.chunk_by(same_poll).collect();
        for poll in polls {
            slots.extend(self.close_slots_until(poll[0].at));
            self.apply_settings(poll[0].at);
            self.take_poll(poll);
        }
        self.apply_settings(until);
        self.watch_from(watermark, until);
        slots.extend(self.close_slots_until(until));
        slots
    }

    fn output(&mut self, slots: Vec<Slot>) -> Output {
        Output {
            slots,
            findings: self.state.book.take_changed(),
            learned: std::mem::take(&mut self.learned),
            forgotten: std::mem::take(&mut self.forgotten),
            mornings: std::mem::take(&mut self.mornings),
            refused: None,
        }
    }
}
