//! What a day says of the wiring: every way in which the arrays may hang on the inputs, beside what
//! the inputs show.
//!
//! Model:   a wiring gives every input k an array a(k) with so many times its strings t(k). Per slot
//!          r_k = ln( (I_k + f R_k) / (t_k I_a(k) + f R_k) ),  v_k = ln( V_k / V_a(k) )      eq. (1)
//!          with I_a the current of that array at the measured voltage and V_a the voltage of its
//!          peak; f R_k keeps what is next to nothing from counting for more than it is worth. What
//!          all planes share in a slot, the mean of their means, is parted from what each plane has of
//!          its own, and that from what each input has beside the others of its plane: clouds, a
//!          sensor's gain and dirt move all, clouds without a sensor the planes against each other, and
//!          a wrong wiring moves some inputs. Of all three the day's mean and scatter are kept.
//! Symbols: I [A], V [V]; R peak current of an input at 1000 W/m2 [A]; r, v [-].
//! Range:   slots in which every input is measured and nothing limits.
//! Source:  own.
//! Check:   tests/acceptance/engine/wiring.rs; the campaign.
//! Never in here: which of them is true (`diagnose::wiring`).

use super::reference_current;
use crate::expected::Prediction;
use crate::plant::Inverter;
use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// f of eq. (1) (engineering judgement) [-].
const FLOOR_RATIO: f64 = 0.03;
/// Strings more or fewer than described that are thought of.
const MOST_STRINGS_OFF: usize = 2;
/// Slots that a day needs to say anything, together.
const LEAST_LIGHT: Span = Span::from_h(4);

/// A way in which the arrays of an inverter may hang on its inputs; inputs by their index.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum Wiring {
    /// As the site file says.
    AsDescribed,
    /// The arrays of two inputs in each other's place.
    Swapped(usize, usize),
    /// Another number of strings than described.
    Strings {
        /// On which input.
        input: usize,
        /// How many.
        count: usize,
    },
}

/// One slot of an inverter. All by input.
#[derive(Debug, Clone)]
pub struct WiringSlot {
    /// Where it begins.
    pub start: Time,
    /// Voltage [V] and current [A].
    pub points: Vec<(f64, f64)>,
    /// Whether it can be judged.
    pub is_valid: Vec<bool>,
    /// What the array described for it should do, by the datasheet alone.
    pub given: Vec<Prediction>,
    /// Peak current at 1000 W/m2 [A].
    pub rated_a: Vec<f64>,
    /// Whether the light of some input is only that of a clear sky.
    pub is_by_sky: bool,
}

/// Mean and scatter of a number over a day.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Spread {
    n: f64,
    sum: f64,
    squares: f64,
}

/// r and v of eq. (1), or a part of each.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct Part {
    /// Of the current.
    pub current: Spread,
    /// Of the voltage.
    pub voltage: Spread,
}

/// A wiring beside a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fit {
    /// Which.
    pub wiring: Wiring,
    /// What all planes share.
    pub shared: Part,
    /// What each plane has beside that, of the planes that the arrays on the inputs lie on.
    pub planes: Vec<Part>,
    /// What each input has beside its plane.
    pub own: Vec<Part>,
    /// By input, which of those planes its array lies on.
    pub plane_of: Vec<u8>,
}

/// A day of an inverter.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct WiringDay {
    /// Where its first slot begins.
    pub began: Time,
    /// Light in which it was seen.
    pub light: Span,
    /// Whether the light of some input was only that of a clear sky.
    pub is_by_sky: bool,
    /// Every wiring that is thought of, that of the site file first.
    pub fits: Vec<Fit>,
}

/// Days of an inverter until its wiring is known.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct WiringWatch {
    today: Option<WiringDay>,
    is_settled: bool,
    /// By input, the first slot in which it could be judged.
    seen_from: Vec<Option<Time>>,
    /// What is said to be wrong.
    pub told: Option<Wiring>,
}

/// Every wiring of an inverter that can be told from others.
fn candidates(inverter: &Inverter) -> Vec<Wiring> {
    let inputs = &inverter.inputs;
    let looks = |k: usize| {
        let strings = inputs[k].strings.iter();
        strings
            .map(|s| (s.plane, s.module, s.count))
            .collect::<Vec<_>>()
    };
    let mut all = vec![Wiring::AsDescribed];
    for a in 0..inputs.len() {
        let others = a + 1..inputs.len();
        all.extend(
            others
                .filter(|b| looks(a) != looks(*b))
                .map(|b| Wiring::Swapped(a, b)),
        );
        let described = inputs[a].strings.len();
        let counts =
            described.saturating_sub(MOST_STRINGS_OFF).max(1)..=described + MOST_STRINGS_OFF;
        let others = counts.filter(|count| *count != described);
        all.extend(others.map(|count| Wiring::Strings { input: a, count }));
    }
    all
}

impl Wiring {
    /// Which array hangs on an input, and its strings over those described.
    fn array_on(self, k: usize, inverter: &Inverter) -> (usize, f64) {
        match self {
            Wiring::Swapped(a, b) if k == a => (b, 1.0),
            Wiring::Swapped(a, b) if k == b => (a, 1.0),
            Wiring::Strings { input, count } if k == input => {
                (k, count as f64 / inverter.inputs[k].strings.len() as f64)
            }
            _ => (k, 1.0),
        }
    }

    /// Whether an input is not wired as described.
    pub fn concerns(self, k: usize) -> bool {
        match self {
            Wiring::AsDescribed => false,
            Wiring::Swapped(a, b) => k == a || k == b,
            Wiring::Strings { input, .. } => k == input,
        }
    }
}

impl WiringWatch {
    /// Whether it is known to be as described, for good.
    pub fn is_settled(&self) -> bool {
        self.is_settled
    }

    /// The first slot of all in which an input could be judged.
    pub fn seen_from(&self, k: usize) -> Option<Time> {
        self.seen_from.get(k).copied().flatten()
    }

    /// Takes a slot of the day.
    pub fn add(&mut self, slot: &WiringSlot, span: Span, inverter: &Inverter) {
        if self.is_settled {
            return;
        }
        self.seen_from.resize(slot.is_valid.len(), None);
        for (from, is_valid) in self.seen_from.iter_mut().zip(&slot.is_valid) {
            if *is_valid {
                from.get_or_insert(slot.start);
            }
        }
        let day = self
            .today
            .get_or_insert_with(|| WiringDay::new(slot.start, inverter));
        day.light = day.light + span;
        day.is_by_sky |= slot.is_by_sky;
        for fit in &mut day.fits {
            fit.add(slot, inverter);
        }
    }

    /// The day that is over, if it has seen enough light.
    pub fn close_day(&mut self) -> Option<WiringDay> {
        self.today.take().filter(|day| day.light >= LEAST_LIGHT)
    }

    /// Throws away what was seen of today: time has gone back.
    pub fn forget_today(&mut self) {
        self.today = None;
    }

    /// It is as described: nothing more is asked.
    pub fn settle(&mut self) {
        *self = Self {
            is_settled: true,
            ..Self::default()
        };
    }
}

impl WiringDay {
    fn new(began: Time, inverter: &Inverter) -> Self {
        let fit = |wiring| Fit::new(wiring, inverter);
        Self {
            began,
            light: Span::ZERO,
            is_by_sky: false,
            fits: candidates(inverter).into_iter().map(fit).collect(),
        }
    }
}

impl Fit {
    fn new(wiring: Wiring, inverter: &Inverter) -> Self {
        let inputs = 0..inverter.inputs.len();
        let plane = |k: usize| inverter.inputs[wiring.array_on(k, inverter).0].plane();
        let mut planes: Vec<usize> = inputs.clone().map(plane).collect();
        planes.sort_unstable();
        planes.dedup();
        let place = |k: usize| planes.partition_point(|p| *p < plane(k)) as u8;
        Self {
            wiring,
            shared: Part::default(),
            planes: vec![Part::default(); planes.len()],
            own: vec![Part::default(); inputs.len()],
            plane_of: inputs.map(place).collect(),
        }
    }

    fn add(&mut self, slot: &WiringSlot, inverter: &Inverter) {
        let compare = |(k, (volts, amps)): (usize, &(f64, f64))| {
            let (array, times) = self.wiring.array_on(k, inverter);
            let given = &slot.given[array];
            let floor_a = FLOOR_RATIO * slot.rated_a[k];
            let given_a = times * reference_current(given, *volts);
            let current = ((amps.max(0.0) + floor_a) / (given_a + floor_a)).ln(); // eq. (1)
            [current, (volts / given.expected.voltage.v()).ln()]
        };
        let values: Vec<[f64; 2]> = slot.points.iter().enumerate().map(compare).collect();
        self.part(&values);
    }

    /// Parts the values of one slot, by input, into what all planes, one plane and one input have.
    fn part(&mut self, values: &[[f64; 2]]) {
        let means: Vec<[f64; 2]> = (0..self.planes.len())
            .map(|p| mean(self.on_plane(p).map(|k| values[k])))
            .collect();
        let shared = mean(means.iter().copied());
        self.shared.add(shared);
        for (plane, mean) in self.planes.iter_mut().zip(&means) {
            plane.add(less(*mean, shared));
        }
        for ((own, value), p) in self.own.iter_mut().zip(values).zip(&self.plane_of) {
            own.add(less(*value, means[usize::from(*p)]));
        }
    }

    /// Inputs whose arrays lie on a plane, by its place in `planes`.
    pub fn on_plane(&self, plane: usize) -> impl Iterator<Item = usize> {
        let all = self.plane_of.iter().enumerate();
        all.filter(move |(_, p)| usize::from(**p) == plane)
            .map(|(k, _)| k)
    }
}

fn mean(values: impl Iterator<Item = [f64; 2]>) -> [f64; 2] {
    let (n, sums) = values.fold((0.0, [0.0; 2]), |(n, [a, b]), [c, d]| {
        (n + 1.0, [a + c, b + d])
    });
    sums.map(|sum| sum / n)
}

fn less([a, b]: [f64; 2], [c, d]: [f64; 2]) -> [f64; 2] {
    [a - c, b - d]
}

impl Part {
    fn add(&mut self, [current, voltage]: [f64; 2]) {
        self.current.add(current);
        self.voltage.add(voltage);
    }
}

impl Spread {
    fn add(&mut self, value: f64) {
        self.n += 1.0;
        self.sum += value;
        self.squares += value * value;
    }

    /// Mean.
    pub fn mean(&self) -> f64 {
        self.sum / self.n.max(1.0)
    }

    /// Variance about the mean.
    pub fn variance(&self) -> f64 {
        (self.squares / self.n.max(1.0) - self.mean().powi(2)).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fit(plane_of: &[u8], planes: usize) -> Fit {
        Fit {
            wiring: Wiring::AsDescribed,
            shared: Part::default(),
            planes: vec![Part::default(); planes],
            own: vec![Part::default(); plane_of.len()],
            plane_of: plane_of.to_vec(),
        }
    }

    #[test]
    fn a_slot_is_parted_without_rest_and_every_plane_weighs_the_same() {
        let mut fit = fit(&[0, 1, 1, 1], 2);
        let values = [[0.1, 0.02], [-0.3, 0.0], [0.0, 0.03], [0.6, -0.06]];
        fit.part(&values);
        // The second plane's mean is 0.1 and -0.01.
        assert!((fit.shared.current.mean() - 0.1).abs() < 1e-12, "{fit:?}");
        assert!((fit.shared.voltage.mean() - 0.005).abs() < 1e-12, "{fit:?}");
        for (k, [current, voltage]) in values.into_iter().enumerate() {
            let parts = [
                fit.shared,
                fit.planes[usize::from(fit.plane_of[k])],
                fit.own[k],
            ];
            let sum = |of: fn(&Part) -> f64| parts.iter().map(of).sum::<f64>();
            assert!((sum(|p| p.current.mean()) - current).abs() < 1e-12, "{k}");
            assert!((sum(|p| p.voltage.mean()) - voltage).abs() < 1e-12, "{k}");
        }
        let beside = |parts: &[Part]| parts.iter().map(|p| p.current.mean()).sum::<f64>();
        assert!(beside(&fit.planes).abs() < 1e-12 && beside(&fit.own).abs() < 1e-12);
    }
}
