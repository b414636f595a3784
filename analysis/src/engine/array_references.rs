//! What the current and the voltage of an input are held against, how far healthy ones stray from it, and
//! which losses are looked for. Never in here: what is kept of a day, what is said.

use super::Engine;
use crate::detect::{Budget, Kind, Reference, References, Sought};
use crate::expected::{Known, Own};
use crate::reading::{MEDIAN_OVER_MEAN, Span};

/// Smallest steady losses of current and of voltage beyond the edge of health that are looked for [-]:
/// with the edge beside the last month, 4 % of current, and one section of sixty, or half an ohm, of
/// voltage.
const SMALLEST_CURRENT_RATIO: f64 = 0.025;
pub(super) const SMALLEST_VOLTAGE_RATIO: f64 = 0.003;
/// What needs longer than this to be believed is no more than a season, a sensor or dirt may make.
const WITHIN: Span = Span::from_h(24 * 21);
/// The edge of health lies this many standard deviations off.
const EDGE_SIGMAS: f64 = 2.0;
/// What lasts beside the last month, the handover and the datasheet (one standard deviation,
/// engineering judgement: weather, seasons, mismatch and meters; the seasons move the voltage of healthy
/// inputs of the campaign by up to 0.6 %, and one in some hundred lies 1.5 % under its datasheet) [-].
const CURRENT_LASTS: [f64; 3] = [0.003, 0.006, 0.016];
const VOLTAGE_LASTS: [f64; 3] = [0.0007, 0.004, 0.0085];
/// What lasts in the voltage over the days in which a cause is looked for [-].
const VOLTAGE_LASTS_LATELY: f64 = 0.0018;
/// How far an input beside two others strays over what it would beside many: for such the numbers above
/// were set [-].
const BESIDE_TWO: f64 = 1.33;
/// Of an input that is alone in its plane, beside what its plane was lately: nothing tells its dirt,
/// the sensor's and the sky's error and the cells' heat from its own.
const LONE_CURRENT_LASTS: f64 = 0.035;
const LONE_VOLTAGE_LASTS: f64 = 0.005;
/// The same of its voltage where nothing measures the air either: weeks are 4 K warmer than the season's,
/// and a cell's voltage falls by 0.39 % a kelvin [-].
const LONE_UNHEATED_LASTS: f64 = 0.015;
/// Days that must have taught the last month before it says anything.
const LAST_MONTH_DAYS: usize = 5;
/// Days in a year that give a value, at most.
const DAYS_PER_YEAR: f64 = 365.0;
/// Streams on one input: current and voltage, each beside three references.
const REFERENCES: usize = 3;

impl Engine {
    /// What the current and the voltage of an input are held against.
    pub(super) fn references(&self, (i, k): (usize, usize)) -> [References; 2] {
        let edge = |sigma: f64, lasts: f64| EDGE_SIGMAS * sigma.hypot(lasts);
        let Some([current, voltage]) = self.state.calibration.own((i, k)) else {
            let plane = |lasts: f64| {
                let ln = 0.0;
                [
                    Some(Reference {
                        ln,
                        edge: edge(0.0, lasts),
                    }),
                    None,
                    None,
                ]
            };
            return [LONE_CURRENT_LASTS, self.lone_voltage_lasts()].map(plane);
        };
        let of = |own: Own, lasts: [f64; REFERENCES]| {
            let beside = |known: Known, lasts| Reference {
                ln: known.value.ln(),
                edge: edge(known.sigma, lasts),
            };
            let now = own.now.filter(|now| now.days >= LAST_MONTH_DAYS);
            let datasheet = Reference {
                ln: 0.0,
                edge: edge(0.0, lasts[2]),
            };
            [
                now.map(|known| beside(known, lasts[0])),
                own.baseline.map(|known| beside(known, lasts[1])),
                Some(datasheet),
            ]
        };
        // What it is held against strays as it does itself, the less the more inputs make it.
        let siblings = self.siblings_on_plane((i, k)).max(1) as f64;
        let beside = (1.0 + MEDIAN_OVER_MEAN.powi(2) / siblings).sqrt() / BESIDE_TWO;
        let mut voltage_lasts = VOLTAGE_LASTS;
        voltage_lasts[0] *= beside.max(1.0);
        [of(current, CURRENT_LASTS), of(voltage, voltage_lasts)]
    }

    /// What lasts in the voltage of an input over the days in which a cause is looked for [-].
    pub(super) fn voltage_lasts_lately(&self, input: (usize, usize)) -> f64 {
        match self.state.calibration.own(input) {
            Some(_) => VOLTAGE_LASTS_LATELY,
            None => self.lone_voltage_lasts(),
        }
    }

    fn lone_voltage_lasts(&self) -> f64 {
        if self.roles.has_heat {
            LONE_VOLTAGE_LASTS
        } else {
            LONE_UNHEATED_LASTS
        }
    }

    /// How many other inputs have all their strings on the plane of an input.
    fn siblings_on_plane(&self, (i, k): (usize, usize)) -> usize {
        let plane = self.chain.inputs[i][k].plane;
        let models = self.chain.inputs.iter().flatten();
        models.filter(|model| model.plane == plane).count() - 1
    }

    /// What is looked for in the current and in the voltage of an inverter's inputs.
    pub(super) fn sought(&self, i: usize) -> (Sought, Sought) {
        let budget = Budget::new(self.plant.false_alarms_per_inverter_year);
        let streams = REFERENCES * self.plant.inverters[i].inputs.len();
        let of = |kind, smallest| Sought {
            smallest,
            days_between: budget.observations_between(kind, streams, DAYS_PER_YEAR),
            within: Some(WITHIN),
        };
        (
            of(Kind::CurrentLow, SMALLEST_CURRENT_RATIO),
            of(Kind::SectionLost, SMALLEST_VOLTAGE_RATIO),
        )
    }
}
