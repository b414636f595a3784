//! Shares of observations inside their bands, and where the bands are too narrow or too wide.
//!
//! Model:   z = (measured - expected) / sigma; share of |z| <= 1 and of |z| <= 1.96, which are
//!          68.3 and 95.0 % if the band is right; |z| = a + b (G - 0.5) + c |h - 12| / 6 by least
//!          squares.
//! Symbols: G  plane irradiance [kW/m2]    h  hour by the mean sun [h]
//! Range:   at least one observation; slopes from twelve.
//! Source:  own; of a normal distribution mean |z| is 0.80.
//! Check:   tests/acceptance/coverage.rs, a known noise.

use super::observe::{Judged, Observation};
use super::structure::quantile;

/// Standard deviations that hold 95 % of a normal distribution.
const SIGMAS_OF_95: f64 = 1.96;
/// Edges of irradiance [W/m2].
const LIGHT_W_M2: [(f64, f64); 4] = [
    (100.0, 200.0),
    (200.0, 400.0),
    (400.0, 700.0),
    (700.0, 1600.0),
];
/// Observations that slopes take.
const LEAST_FOR_SLOPES: usize = 12;

/// How much lies inside the bands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shares {
    /// Observations.
    pub count: usize,
    /// Within one standard deviation [-].
    pub within_68: f64,
    /// Within 1.96 of them [-].
    pub within_95: f64,
    /// Median z [-].
    pub median_z: f64,
}

/// How |z| depends on light and hour.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Slopes {
    /// At 500 W/m2 and noon; 0.80 where the band is right [-].
    pub middle: f64,
    /// Per kW/m2.
    pub with_light: f64,
    /// From noon to six hours beside it [-].
    pub with_hour: f64,
}

impl Shares {
    /// Of at least one z.
    pub fn of(z: &[f64]) -> Self {
        assert!(!z.is_empty(), "nothing was observed");
        let within = |limit: f64| {
            let inside = z.iter().filter(|z| z.abs() <= limit).count();
            inside as f64 / z.len() as f64
        };
        Self {
            count: z.len(),
            within_68: within(1.0),
            within_95: within(SIGMAS_OF_95),
            median_z: quantile(z.to_vec(), 0.5),
        }
    }
}

/// The z of each observation.
pub fn z_scores(seen: &[Observation], what: Judged) -> Vec<f64> {
    seen.iter().map(|o| o.z(what)).collect()
}

/// Shares by irradiance [W/m2]; nothing where nothing was observed.
pub fn by_light(seen: &[Observation], what: Judged) -> Vec<((f64, f64), Shares)> {
    let inside = |(low, high): (f64, f64)| -> Vec<f64> {
        let lit = |o: &&Observation| (low..high).contains(&o.poa_w_m2);
        seen.iter().filter(lit).map(|o| o.z(what)).collect()
    };
    let shares = |edges| (edges, inside(edges));
    let some = LIGHT_W_M2.map(shares).into_iter();
    some.filter(|(_, z)| !z.is_empty())
        .map(|(edges, z)| (edges, Shares::of(&z)))
        .collect()
}

/// How the z of voltage and of current go together: their correlation. A band of the power made as
/// if they did not is too wide where it is negative.
pub fn voltage_with_current(seen: &[Observation]) -> f64 {
    let (v, i) = (
        z_scores(seen, Judged::Voltage),
        z_scores(seen, Judged::Current),
    );
    let mean = |z: &[f64]| z.iter().sum::<f64>() / z.len() as f64;
    let (mean_v, mean_i) = (mean(&v), mean(&i));
    let product = |x: &[f64], mean_x: f64, y: &[f64], mean_y: f64| -> f64 {
        x.iter()
            .zip(y)
            .map(|(x, y)| (x - mean_x) * (y - mean_y))
            .sum()
    };
    let both = product(&v, mean_v, &i, mean_i);
    both / (product(&v, mean_v, &v, mean_v) * product(&i, mean_i, &i, mean_i)).sqrt()
}

/// How |z| depends on light and hour; `None` of too few.
pub fn slopes(seen: &[Observation], what: Judged) -> Option<Slopes> {
    if seen.len() < LEAST_FOR_SLOPES {
        return None;
    }
    let row = |o: &Observation| {
        let hour = (o.solar_h - 12.0).abs() / 6.0;
        ([1.0, o.poa_w_m2 / 1000.0 - 0.5, hour], o.z(what).abs())
    };
    let [middle, with_light, with_hour] = least_squares(seen.iter().map(row))?;
    Some(Slopes {
        middle,
        with_light,
        with_hour,
    })
}

/// Coefficients of y = c . x, by the normal equations; `None` if x leaves them open.
pub(super) fn least_squares<const N: usize>(
    rows: impl Iterator<Item = ([f64; N], f64)>,
) -> Option<[f64; N]> {
    let mut a = [[0.0; N]; N];
    let mut b = [0.0; N];
    for (x, y) in rows {
        for i in 0..N {
            for j in 0..N {
                a[i][j] += x[i] * x[j];
            }
            b[i] += x[i] * y;
        }
    }
    solve(a, b)
}

/// Gauss and Jordan, with the largest pivot of the column.
fn solve<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> Option<[f64; N]> {
    /// A pivot under this is none: the columns depend on each other.
    const LEAST_PIVOT: f64 = 1e-9;
    for column in 0..N {
        let larger = |i: &usize, j: &usize| a[*i][column].abs().total_cmp(&a[*j][column].abs());
        let pivot = (column..N).max_by(larger)?;
        if a[pivot][column].abs() < LEAST_PIVOT {
            return None;
        }
        a.swap(column, pivot);
        b.swap(column, pivot);
        let (row, right) = (a[column], b[column]);
        for i in (0..N).filter(|i| *i != column) {
            let factor = a[i][column] / row[column];
            for (entry, of_pivot) in a[i].iter_mut().zip(row) {
                *entry -= factor * of_pivot;
            }
            b[i] -= factor * right;
        }
    }
    Some(std::array::from_fn(|i| b[i] / a[i][i]))
}
