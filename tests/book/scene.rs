//! A fault of each kind on a plant that is drawn at random, watched until the program tells of it: the first
//! plant on which it tells rightly. The plants and faults are those of the campaign; that it takes several
//! plants for some kinds is no measure of how often they are found (DEVELOPERS.md has that).
//! Never in here: pictures.

use analysis::detect::{Kind, Morning, Slot};
use analysis::diagnose::Finding;
use analysis::expected::Learned;
use analysis::reading::{Span, Time};
use std::ops::RangeInclusive;
use tests::campaign::{Act, Draw, DrawnPlant, Fault, Job, Now, Sensing, draw, kind_row, run_drawn};

/// Of all plants of the book.
const SEED: u64 = 8;
/// After so many plants without a right finding the scene is given up.
const MOST_PLANTS: u64 = 300;
/// Inputs of a plant that a picture of one of them is drawn of: with a sibling.
const INPUTS: RangeInclusive<usize> = 2..=3;
/// Those that a picture of the whole plant has room for.
const ALL_INPUTS: RangeInclusive<usize> = 1..=1;
/// Rise of the supply by the own full export from which a joint in it changes a picture [-].
const LEAST_RISE: f64 = 0.008;

/// What its picture shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Show {
    /// Voltage and current of an input on its worst day.
    InputDay,
    /// The same on the day on which it was found.
    DayFound,
    /// The same on the brightest day while it stood.
    BrightDay,
    /// Everything of the plant on the day on which it began.
    Plant,
    /// The same on the day after: a clock that is set back gives some hours of that day twice.
    PlantNextDay,
    /// Where the input worked on its curve.
    Curve,
    /// Current and voltage of an input, day by day.
    History,
    /// The same beside the datasheet: without what has been learned since.
    HistoryAsNew,
    /// Insulation, morning by morning.
    Mornings,
    /// Voltage of the supply against export.
    Supply,
    /// Disconnections by the hour.
    Hours,
}

/// A kind, the size class of its fault, and its picture.
#[derive(Debug, Clone, Copy)]
pub struct Scene {
    /// What must be told.
    pub kind: Kind,
    /// As in the campaign's table, from 0.
    class: usize,
    /// How it is shown.
    pub show: Show,
}

const fn scene(kind: Kind, class: usize, show: Show) -> Scene {
    Scene { kind, class, show }
}

/// One for each kind.
pub const SCENES: &[Scene] = &[
    scene(Kind::InputDead, 0, Show::InputDay),
    scene(Kind::StringOpen, 1, Show::InputDay),
    scene(Kind::SectionLost, 1, Show::History),
    scene(Kind::ResistanceHigh, 2, Show::BrightDay),
    scene(Kind::CurrentLow, 1, Show::History),
    scene(Kind::Shade, 2, Show::InputDay),
    scene(Kind::Soiling, 1, Show::History),
    scene(Kind::Snow, 0, Show::InputDay),
    scene(Kind::Degradation, 1, Show::HistoryAsNew),
    scene(Kind::TrackerOffPeak, 2, Show::Curve),
    scene(Kind::InputsSwapped, 0, Show::DayFound),
    scene(Kind::StringCountDiffers, 0, Show::DayFound),
    scene(Kind::IsolationLow, 1, Show::Mornings),
    scene(Kind::IsolationFalling, 2, Show::Mornings),
    scene(Kind::ResidualCurrentHigh, 1, Show::Plant),
    scene(Kind::GridTrip, 2, Show::Plant),
    scene(Kind::GridTripsRepeated, 2, Show::Hours),
    scene(Kind::GridVoltageHigh, 1, Show::Supply),
    scene(Kind::SupplyResistanceHigh, 2, Show::Supply),
    scene(Kind::ProtectionActed, 0, Show::Plant),
    scene(Kind::Limited, 0, Show::Plant),
    scene(Kind::InverterOff, 0, Show::Plant),
    scene(Kind::EfficiencyLow, 2, Show::Plant),
    scene(Kind::LinkLost, 1, Show::Plant),
    scene(Kind::ValueFrozen, 0, Show::InputDay),
    scene(Kind::ValueImpossible, 0, Show::InputDay),
    scene(Kind::ClockOff, 2, Show::PlantNextDay),
    scene(Kind::SensorWrong, 2, Show::Plant),
];

/// What was seen of a plant until some days after the finding.
pub struct Played {
    /// Which of the plants that were tried it is.
    pub number: u64,
    /// The plant.
    pub drawn: DrawnPlant,
    /// What was wrong with it.
    pub fault: Fault,
    /// What was told of that.
    pub finding: Finding,
    /// Everything that was told.
    pub findings: Vec<Finding>,
    /// In order of time.
    pub slots: Vec<Slot>,
    /// In order of time.
    pub mornings: Vec<Morning>,
    /// What was learned when.
    pub learned: Vec<(Time, Learned)>,
    /// Export [W] and highest phase voltage [V] of each poll.
    pub supply: Vec<(Time, f64, f64)>,
    /// First and last instant.
    pub span: (Time, Time),
}

impl Scene {
    /// The first plant on which the fault is told rightly.
    pub fn played(&self) -> Result<Played, String> {
        let row = kind_row(self.kind.name())
            .ok_or_else(|| format!("{} has no row in the campaign", self.kind.name()))?;
        for number in 0..MOST_PLANTS {
            let place = ((self.kind as u64 + 1) << 32) + number;
            let job = Job {
                index: 0,
                seed: Draw::new(SEED, place).bits(),
                kind: Some(self.kind.name()),
                class: self.class,
                days: 0,
                every: row.polled(Span::from_min(5)),
            };
            let (drawn, fault) = draw(&job);
            let Some(fault) = fault.filter(|fault| self.is_fit(&drawn, fault)) else {
                continue;
            };
            if let Some(played) = self.play(number, &job, drawn, fault) {
                return Ok(played);
            }
        }
        Err(format!(
            "show {}: it was told of none of {MOST_PLANTS} plants",
            self.kind.name()
        ))
    }

    /// Whether a picture of it can show the fault: no light from elsewhere, room for all inputs, and of some
    /// kinds a fault that eyes can see.
    fn is_fit(&self, drawn: &DrawnPlant, fault: &Fault) -> bool {
        let inputs = match self.show {
            Show::Plant | Show::PlantNextDay => ALL_INPUTS,
            _ => INPUTS,
        };
        let is_seen = match self.kind {
            // Beside a second string most of it hides.
            Kind::ResistanceHigh => {
                let input = fault.input.and_then(|k| drawn.truth.inputs.get(k));
                input.is_some_and(|input| input.strings.len() == 1)
            }
            Kind::StringCountDiffers => fault.act == Act::MoreStrings(-1),
            Kind::SupplyResistanceHigh => drawn.truth.supply.0 >= LEAST_RISE,
            _ => true,
        };
        let is_simple = drawn.sensing == Sensing::Plane && drawn.truth.planes.len() == 1;
        is_seen && is_simple && inputs.contains(&drawn.truth.inputs.len())
    }

    fn play(&self, number: u64, job: &Job, drawn: DrawnPlant, fault: Fault) -> Option<Played> {
        let (mut slots, mut mornings) = (Vec::new(), Vec::new());
        let (mut learned, mut supply) = (Vec::new(), Vec::new());
        let mut last = None;
        let outcome = run_drawn(
            job,
            &drawn,
            Some(fault.clone()),
            &mut |now: &Now, output| {
                slots.extend(output.slots.iter().cloned());
                mornings.extend(output.mornings.iter().map(|(_, morning)| *morning));
                learned.extend(output.learned.iter().map(|what| (now.at, *what)));
                if last.replace(now.at) != Some(now.at) {
                    let highest = now.supply.0.iter().copied().fold(0.0, f64::max);
                    supply.push((now.at, now.work.ac_w, highest));
                }
            },
        );
        let number_of = |k: usize| drawn.plant.inverters[0].inputs[k].number;
        let is_right = |f: &&Finding| {
            let place = fault.input.map(number_of);
            f.kind == self.kind
                && f.found >= fault.began
                && (f.subject.input.is_none() || f.subject.input == place)
        };
        let finding = outcome.findings.iter().find(is_right)?.clone();
        Some(Played {
            number,
            finding,
            findings: outcome.findings,
            slots,
            mornings,
            learned,
            supply,
            span: outcome.span,
            fault,
            drawn,
        })
    }
}
