//! Least squares of power on irradiance, air temperature and wind, from sums by day.
//!
//! Model:   P = E (a1 + a2 E + a3 T_a + a4 v); without wind the last term is left out        eq. (1)
//!          A = X'X, b = X'P, A a = b by Cholesky; s^2 = (P'P - b'a) / (n - k)               eq. (2)
//!          covariance s^2 A^-1                                                              eq. (3)
//!          by days: A^-1 [sum_d u_d u_d'] A^-1 x G / (G - 1) x (n - 1) / (n - k),
//!          u_d = b_d - A_d a of the day d                                                   eq. (4)
//! Symbols: P [W], E in-plane irradiance [W/m2], T_a [degC], v [m/s]; n points, k terms, G days
//! Range:   n > k, and terms that can be told apart; otherwise `FitFailure`. Points of one day share
//!          what their residuals have in common (sky, dirt, sensor), so eq. (3) is too narrow where
//!          they do; eq. (4) is not, with some days.
//! Source:  eq. (1) ASTM E2848 (from memory, verify); eq. (4) K.-Y. Liang, S. L. Zeger, Biometrika 73
//!          (1986) 13-22 (from memory), with the usual correction for few groups.
//! Check:   tests/reference/performance.rs, against NumPy's `linalg.lstsq`.

use thiserror::Error;

/// Terms of eq. (1).
pub(super) const TERMS: usize = 4;
type Square = [[f64; TERMS]; TERMS];
type Row = [f64; TERMS];

/// Irradiance is counted in this inside [W/m2], so that the terms are of one size.
const UNIT_W_M2: f64 = 1000.0;
/// What is left of a term's square after the others, below which it tells nothing [-].
const LEAST_LEFT_RATIO: f64 = 1e-10;

/// Sums over the points of a day.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Gram {
    /// Points.
    pub count: u32,
    xx: Square,
    xy: Row,
    yy: f64,
}

/// Why there is no regression.
#[derive(Debug, Clone, Copy, PartialEq, Error)]
pub enum FitFailure {
    /// Fewer points than it takes.
    #[error("fit {terms} terms to {found} points")]
    TooFew {
        /// Points.
        found: u32,
        /// Terms to be found.
        terms: usize,
    },
    /// The terms cannot be told apart: they rise and fall together in every point.
    #[error(
        "tell term {term} of the regression from those before it: only {left_ratio:.1e} of it is left"
    )]
    Alike {
        /// Counted from 1.
        term: usize,
        /// What the terms before it leave of its square [-].
        left_ratio: f64,
    },
}

/// A regression.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Fit {
    /// a1 [m2], a2 [m4/W], a3 [m2/K], a4 [m s]; the last is 0 without wind.
    pub coefficients: Row,
    /// Terms that were found.
    pub terms: usize,
    /// Points.
    pub points: u32,
    /// Days that they lie in.
    pub days: u32,
    /// Standard deviation of a point from the regression, s [W].
    pub residual_w: f64,
    /// As fitted, in the inner unit of irradiance.
    inner: Row,
    inverse: Square,
    by_days: Square,
}

/// The terms of a point in the inner unit of irradiance.
fn terms_of(irradiance_w_m2: f64, air_degc: f64, wind_m_s: f64) -> Row {
    let e = irradiance_w_m2 / UNIT_W_M2;
    [e, e * e, e * air_degc, e * wind_m_s] // eq. (1)
}

impl Gram {
    /// Adds a point; without wind give 0.
    pub fn add(&mut self, irradiance_w_m2: f64, air_degc: f64, wind_m_s: f64, power_w: f64) {
        let x = terms_of(irradiance_w_m2, air_degc, wind_m_s);
        self.count += 1;
        self.yy += power_w * power_w;
        for i in 0..TERMS {
            self.xy[i] += x[i] * power_w;
            for j in 0..TERMS {
                self.xx[i][j] += x[i] * x[j];
            }
        }
    }

    /// Adds the points of another.
    pub fn merge(&mut self, other: &Self) {
        self.count += other.count;
        self.yy += other.yy;
        for i in 0..TERMS {
            self.xy[i] += other.xy[i];
            for j in 0..TERMS {
                self.xx[i][j] += other.xx[i][j];
            }
        }
    }
}

/// Fits the first `terms` terms (3 without wind, 4 with) to the points of some days.
///
/// # Errors
/// With too few points, or terms that cannot be told apart.
pub fn fit(days: &[Gram], terms: usize) -> Result<Fit, FitFailure> {
    let terms = terms.min(TERMS);
    let mut all = Gram::default();
    days.iter().for_each(|day| all.merge(day));
    if all.count as usize <= terms {
        return Err(FitFailure::TooFew {
            found: all.count,
            terms,
        });
    }
    let inverse = inverse(&all.xx, terms)?;
    let inner = times(&inverse, &all.xy);
    let (n, k) = (f64::from(all.count), terms as f64);
    let explained = dot(&all.xy, &inner);
    let variance = ((all.yy - explained) / (n - k)).max(0.0); // eq. (2), rounding of a perfect fit
    let lit_days: Vec<&Gram> = days.iter().filter(|day| day.count > 0).collect();
    let groups = lit_days.len() as f64;
    let mut meat = Square::default();
    for day in &lit_days {
        let given = times(&day.xx, &inner);
        let mut u = Row::default();
        for i in 0..terms {
            u[i] = day.xy[i] - given[i];
        }
        add_outer(&mut meat, &u);
    }
    let few = groups / (groups - 1.0) * (n - 1.0) / (n - k);
    let sandwich = product(&product(&inverse, &meat), &inverse);
    Ok(Fit {
        coefficients: [
            inner[0] / UNIT_W_M2,
            inner[1] / (UNIT_W_M2 * UNIT_W_M2),
            inner[2] / UNIT_W_M2,
            inner[3] / UNIT_W_M2,
        ],
        terms,
        points: all.count,
        days: lit_days.len() as u32,
        residual_w: variance.sqrt(),
        inner,
        inverse,
        by_days: sandwich.map(|row| row.map(|v| v * few)), // eq. (4)
    })
}

impl Fit {
    /// Power at some conditions [W].
    pub fn power_w(&self, irradiance_w_m2: f64, air_degc: f64, wind_m_s: f64) -> f64 {
        dot(&self.inner, &terms_of(irradiance_w_m2, air_degc, wind_m_s))
    }

    /// Standard error of that power [W], as if all points were independent of each other.
    pub fn sigma_w(&self, irradiance_w_m2: f64, air_degc: f64, wind_m_s: f64) -> f64 {
        let x = terms_of(irradiance_w_m2, air_degc, wind_m_s);
        self.residual_w * quadratic(&self.inverse, &x).max(0.0).sqrt() // eq. (3)
    }

    /// The same by how days differ from each other [W]; `None` for a single day.
    pub fn sigma_by_days_w(
        &self,
        irradiance_w_m2: f64,
        air_degc: f64,
        wind_m_s: f64,
    ) -> Option<f64> {
        let x = terms_of(irradiance_w_m2, air_degc, wind_m_s);
        (self.days > 1).then(|| quadratic(&self.by_days, &x).max(0.0).sqrt())
    }
}

/// Inverse of the leading part of a symmetric matrix by its Cholesky factor; zeros around it.
fn inverse(a: &Square, size: usize) -> Result<Square, FitFailure> {
    let mut l = Square::default();
    for i in 0..size {
        for j in 0..=i {
            let done: f64 = (0..j).map(|m| l[i][m] * l[j][m]).sum();
            let left = a[i][j] - done;
            if i != j {
                l[i][j] = left / l[j][j];
                continue;
            }
            let left_ratio = left / a[i][i];
            // NaN, of terms that are all zero, is too little as well.
            if left_ratio.is_nan() || left_ratio <= LEAST_LEFT_RATIO {
                return Err(FitFailure::Alike {
                    term: i + 1,
                    left_ratio,
                });
            }
            l[i][i] = left.sqrt();
        }
    }
    let mut inverse = Square::default();
    // It is symmetric: a column found is a row.
    for (column, x) in inverse.iter_mut().enumerate().take(size) {
        for i in 0..size {
            let unit = f64::from(i == column);
            let done: f64 = (0..i).map(|m| l[i][m] * x[m]).sum();
            x[i] = (unit - done) / l[i][i];
        }
        for i in (0..size).rev() {
            let done: f64 = (i + 1..size).map(|m| l[m][i] * x[m]).sum();
            x[i] = (x[i] - done) / l[i][i];
        }
    }
    Ok(inverse)
}

fn dot(a: &Row, b: &Row) -> f64 {
    a.iter().zip(b).map(|(a, b)| a * b).sum()
}

fn times(a: &Square, x: &Row) -> Row {
    a.each_ref().map(|row| dot(row, x))
}

fn quadratic(a: &Square, x: &Row) -> f64 {
    dot(x, &times(a, x))
}

fn product(a: &Square, b: &Square) -> Square {
    let entry = |i: usize, j: usize| (0..TERMS).map(|m| a[i][m] * b[m][j]).sum();
    std::array::from_fn(|i| std::array::from_fn(|j| entry(i, j)))
}

fn add_outer(sum: &mut Square, u: &Row) {
    for (row, a) in sum.iter_mut().zip(u) {
        for (entry, b) in row.iter_mut().zip(u) {
            *entry += a * b;
        }
    }
}
