//! Everything an engine remembers between two steps, with a version.
//! Never in here: what can be computed again from the plant.

use super::array_days::ArrayState;
use super::earth::EarthState;
use super::inverter_days::OwnDays;
use super::measuring::MeasuringState;
use super::planes::PlaneState;
use super::supply::LettingGo;
use crate::detect::{
    ExportWatch, LinkWatch, Moisture, ProtectionWatch, ShadeWatch, StandstillWatch, StringsWatch,
    SupplyDays, SupplyWatch, TripPattern, Window,
};
use crate::diagnose::Book;
use crate::expected::shade::ShadeMap;
use crate::expected::{Calibration, Inertia, PlaneSurvey, TypicalShare};
use crate::plant::{GridSettings, Inverter, Plant};
use crate::reading::{Arrivals, SlotMeans, Span, Time};
use serde::{Deserialize, Serialize};
use std::collections::{BTreeMap, VecDeque};

/// Version of [`EngineState`]; a change of any type in it is a new version.
pub const STATE_VERSION: u32 = 11;

/// What the engine remembers.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct EngineState {
    pub(super) version: u32,
    pub(super) plant: Plant,
    pub(super) arrivals: Arrivals,
    /// The first watermark, and whether any reading has come since.
    pub(super) watched_from: Option<Time>,
    pub(super) has_readings: bool,
    /// Time of the latest reading that was let through.
    pub(super) last_reading: Option<Time>,
    pub(super) filling: Option<SlotMeans>,
    pub(super) before: Option<SlotMeans>,
    pub(super) last_temperature: Option<Time>,
    pub(super) last_frost: Option<Time>,
    pub(super) moisture: Moisture,
    pub(super) calibration: Calibration,
    /// By plane.
    pub(super) surveys: Vec<PlaneSurvey>,
    /// By plane.
    pub(super) planes: Vec<PlaneState>,
    /// By plane.
    pub(super) inertia: Vec<Inertia>,
    pub(super) inverters: Vec<InverterState>,
    pub(super) weather_links: Vec<LinkWatch>,
    pub(super) letting_go: LettingGo,
    /// Settings that are not in force yet: when, of which inverter; in this order.
    pub(super) coming_settings: BTreeMap<(Time, usize), GridSettings>,
    pub(super) export: ExportWatch,
    pub(super) measuring: MeasuringState,
    pub(super) book: Book,
}

/// What is remembered of one inverter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub(super) struct InverterState {
    pub link: LinkWatch,
    pub supply: SupplyWatch,
    /// Highest phase voltage of the last poll that had one [V].
    pub last_v: Option<(Time, f64)>,
    /// What it publishes of its protection.
    pub settings: Option<GridSettings>,
    pub trips: TripPattern,
    pub supply_days: SupplyDays,
    pub earth: EarthState,
    pub protection: ProtectionWatch,
    pub own: OwnDays,
    pub standstill: StandstillWatch,
    /// What it makes of a clear sky's light.
    pub typical: TypicalShare,
    /// Whether it was working when it was last heard of, too much to be asleep at the next poll.
    pub was_working: bool,
    /// Since when one of its planes has been lit, in whole slots without a break.
    pub lit_since: Option<Time>,
    /// Recent slots without output: when they began and what was missed [Wh].
    pub idle: VecDeque<(Time, f64)>,
    /// How long it has been producing without a break, in whole slots.
    pub producing_for: Span,
    pub inputs: Vec<InputState>,
}

/// What is remembered of one input.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub(super) struct InputState {
    pub window: Window,
    pub strings: StringsWatch,
    pub array: ArrayState,
    pub shade: ShadeMap,
    pub shade_watch: ShadeWatch,
}

impl EngineState {
    /// Of a plant that nothing is known of.
    pub(super) fn new(plant: &Plant) -> Self {
        let inverter = |inverter: &Inverter| InverterState {
            link: LinkWatch::new(inverter.every),
            supply: SupplyWatch::new(),
            last_v: None,
            settings: None,
            trips: TripPattern::new(),
            supply_days: SupplyDays::new(),
            earth: EarthState::default(),
            protection: ProtectionWatch::new(),
            own: OwnDays::new(inverter),
            standstill: StandstillWatch::new(),
            typical: TypicalShare::default(),
            was_working: false,
            lit_since: None,
            idle: VecDeque::new(),
            producing_for: Span::ZERO,
            inputs: vec![InputState::default(); inverter.inputs.len()],
        };
        Self {
            version: STATE_VERSION,
            plant: super::physical(plant),
            arrivals: Arrivals::new(),
            watched_from: None,
            has_readings: false,
            last_reading: None,
            filling: None,
            before: None,
            last_temperature: None,
            last_frost: None,
            moisture: Moisture::new(),
            calibration: Calibration::new(plant),
            surveys: vec![PlaneSurvey::default(); plant.planes.len()],
            planes: vec![PlaneState::default(); plant.planes.len()],
            inertia: vec![Inertia::default(); plant.planes.len()],
            inverters: plant.inverters.iter().map(inverter).collect(),
            weather_links: plant
                .weather
                .iter()
                .map(|w| LinkWatch::new(w.every))
                .collect(),
            letting_go: LettingGo::default(),
            coming_settings: BTreeMap::new(),
            export: ExportWatch::new(),
            measuring: MeasuringState::new(plant),
            book: Book::new(),
        }
    }
}
