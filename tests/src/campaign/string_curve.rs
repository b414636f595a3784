//! Strings in series and in parallel as lines through computed points.
//!
//! Model:   at one current the voltages of all sections of a string add up, less the cable's; at one
//!          voltage the currents of strings add up. Between the points of a curve it is straight; the
//!          points lie close where each group of sections bends.
//! Symbols: currents [A] rising, voltages [V] falling
//! Range:   from half the light's current backwards into a string up to its short circuit.
//! Source:  own.
//! Check:   tests/campaign/curves.rs, against tests/data/reference/strings.csv and shade.csv.

use super::section_curve::Section;

/// Sections that are alike.
#[derive(Debug, Clone, Copy)]
pub struct Group {
    /// How many.
    pub count: f64,
    /// Each of them.
    pub section: Section,
    /// Voltage of their modules over what it should be [-].
    pub voltage_ratio: f64,
    /// What one cell of each gets of the light, if it is covered.
    pub covered: Option<f64>,
}

impl Group {
    fn volts(&self, current_a: f64) -> f64 {
        let one = match self.covered {
            Some(ratio) => self.section.volts_with_covered_cell(current_a, ratio),
            None => self.section.volts(current_a),
        };
        self.count * self.voltage_ratio * one
    }
}

/// A curve: points with rising current and falling voltage.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Curve {
    points: Vec<(f64, f64)>,
}

/// Where points lie, over the light's current of a group: most where it bends.
const KNEE: [f64; 15] = [
    0.70, 0.82, 0.88, 0.91, 0.93, 0.945, 0.955, 0.965, 0.975, 0.982, 0.988, 0.993, 0.997, 0.9995,
    1.003,
];
const REST: [f64; 5] = [-0.5, 0.0, 0.15, 0.35, 0.55];
/// Points closer than this are one [A].
const SAME_A: f64 = 1e-4;
/// Powers closer than this are one [W]: what rounding makes of thousands of them.
const SAME_W: f64 = 1e-6;

impl Curve {
    /// Of a string of groups with a cable [ohm].
    pub fn series(groups: &[Group], cable_ohm: f64) -> Self {
        let most = groups.iter().map(|g| g.section.light_a).fold(0.0, f64::max);
        let mut currents: Vec<f64> = REST.iter().map(|share| share * most).collect();
        for group in groups {
            let light = group.section.light_a * group.covered.unwrap_or(1.0);
            currents.extend(KNEE.iter().map(|share| share * light));
        }
        currents.retain(|i| *i <= most);
        currents.push(most);
        currents.sort_by(f64::total_cmp);
        currents.dedup_by(|a, b| (*a - *b).abs() < SAME_A);
        let volts = |i: f64| groups.iter().map(|g| g.volts(i)).sum::<f64>() - i * cable_ohm;
        let points = currents.into_iter().map(|i| (i, volts(i)));
        Self {
            points: points.collect(),
        }
    }

    /// Of strings side by side, each so many times.
    pub fn parallel(strings: &[(&Curve, f64)]) -> Self {
        if let [(only, times)] = strings {
            let points = only.points.iter().map(|(i, v)| (i * times, *v));
            return Self {
                points: points.collect(),
            };
        }
        let all = strings.iter().flat_map(|(curve, _)| &curve.points);
        let mut volts: Vec<f64> = all.map(|p| p.1).filter(|v| *v >= 0.0).collect();
        volts.push(0.0);
        volts.sort_by(|a, b| b.total_cmp(a));
        volts.dedup_by(|a, b| (*a - *b).abs() < 1e-3);
        let amps = |v: f64| {
            let of = strings.iter();
            of.map(|(curve, times)| times * curve.amps(v)).sum::<f64>()
        };
        Self {
            points: volts.into_iter().map(|v| (amps(v), v)).collect(),
        }
    }

    /// Current at a voltage; beyond its ends that of the end.
    pub fn amps(&self, volts: f64) -> f64 {
        let after = self.points.partition_point(|p| p.1 > volts);
        match (
            after.checked_sub(1).map(|k| self.points[k]),
            self.points.get(after),
        ) {
            (Some((i0, v0)), Some((i1, v1))) => i0 + (v0 - volts) / (v0 - v1) * (i1 - i0),
            (Some(end), None) => end.0,
            (None, Some(end)) => end.0,
            (None, None) => 0.0,
        }
    }

    /// Open-circuit voltage.
    pub fn open_v(&self) -> f64 {
        let after = self.points.partition_point(|p| p.0 < 0.0);
        match (
            after.checked_sub(1).map(|k| self.points[k]),
            self.points.get(after),
        ) {
            (Some((i0, v0)), Some((i1, v1))) => v0 - i0 / (i0 - i1) * (v0 - v1),
            (_, Some(end)) => end.1,
            (_, None) => 0.0,
        }
    }

    /// Voltage and power of every peak, left to right in current.
    pub fn peaks(&self) -> Vec<(f64, f64)> {
        let best = |pair: &[(f64, f64)]| {
            let [(i0, v0), (i1, v1)] = [pair[0], pair[1]];
            let slope = (i1 - i0) / (v1 - v0);
            let top = 0.5 * (v0 - i0 / slope);
            let volts = if top.is_finite() {
                top.clamp(v1, v0)
            } else {
                v0
            };
            (volts, volts * (i0 + slope * (volts - v0)))
        };
        let steep = |pair: &&[(f64, f64)]| pair[0].1 - pair[1].1 > 1e-9 && pair[1].1 > 0.0;
        let tops: Vec<_> = self.points.windows(2).filter(steep).map(best).collect();
        let higher = |k: Option<usize>, than: f64| {
            k.and_then(|k| tops.get(k)).is_some_and(|top| top.1 >= than)
        };
        let is_peak = |k: &usize| {
            let own = tops[*k].1;
            own > 0.0
                && !higher(k.checked_sub(1), own + SAME_W)
                && !higher(Some(k + 1), own + SAME_W)
        };
        // A peak on a point belongs to the lines on both of its sides.
        let mut peaks: Vec<_> = (0..tops.len()).filter(is_peak).map(|k| tops[k]).collect();
        peaks.dedup_by(|a, b| (a.0 - b.0).abs() < 1e-9);
        peaks
    }

    /// Voltage and power of the highest peak; nothing in the dark.
    pub fn peak(&self) -> Option<(f64, f64)> {
        self.peaks().into_iter().max_by(|a, b| a.1.total_cmp(&b.1))
    }
}
