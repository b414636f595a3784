//! The normal equations of a fit with six unknowns.
//!
//! Model:   (sum w J J' + P) x = sum w J r, by Cholesky
//! Symbols: J  derivatives of one sample    r  its residual    w  its weight    P  prior precision
//! Range:   positive definite; otherwise no solution.
//! Source:  textbook.
//! Check:   property test below.

/// Unknowns of the fit.
pub(super) const UNKNOWNS: usize = 6;
pub(super) type Vector = [f64; UNKNOWNS];
pub(super) type Matrix = [[f64; UNKNOWNS]; UNKNOWNS];

/// Sums over the samples.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct NormalEquations {
    matrix: Matrix,
    right: Vector,
}

impl NormalEquations {
    pub fn add(&mut self, derivatives: &Vector, residual: f64, weight: f64) {
        for i in 0..UNKNOWNS {
            self.right[i] += weight * derivatives[i] * residual;
            for j in 0..UNKNOWNS {
                self.matrix[i][j] += weight * derivatives[i] * derivatives[j];
            }
        }
    }

    /// The step to the least squares; none where the samples leave a direction open.
    pub fn step(&self) -> Option<Vector> {
        Some(solve(&lower(&self.matrix)?, &self.right))
    }

    /// The inverse of the matrix, under the same condition.
    pub fn covariance(&self) -> Option<Matrix> {
        let lower = lower(&self.matrix)?;
        let mut inverse = [[0.0; UNKNOWNS]; UNKNOWNS];
        for (i, row) in inverse.iter_mut().enumerate() {
            let mut unit = [0.0; UNKNOWNS];
            unit[i] = 1.0;
            *row = solve(&lower, &unit);
        }
        Some(inverse)
    }
}

/// The lower factor of Cholesky.
fn lower(matrix: &Matrix) -> Option<Matrix> {
    let mut lower = [[0.0; UNKNOWNS]; UNKNOWNS];
    for i in 0..UNKNOWNS {
        for j in 0..=i {
            let known: f64 = (0..j).map(|k| lower[i][k] * lower[j][k]).sum();
            let rest = matrix[i][j] - known;
            if i != j {
                lower[i][j] = rest / lower[j][j];
            } else if rest > matrix[i][i] * f64::EPSILON {
                lower[i][i] = rest.sqrt();
            } else {
                return None;
            }
        }
    }
    Some(lower)
}

fn solve(lower: &Matrix, right: &Vector) -> Vector {
    let mut x = *right;
    for i in 0..UNKNOWNS {
        let known: f64 = (0..i).map(|k| lower[i][k] * x[k]).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    for i in (0..UNKNOWNS).rev() {
        let known: f64 = (i + 1..UNKNOWNS).map(|k| lower[k][i] * x[k]).sum();
        x[i] = (x[i] - known) / lower[i][i];
    }
    x
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn a_fit_to_exact_samples_gives_their_unknowns_back(
            rows in prop::collection::vec(prop::array::uniform6(-1.0..1.0_f64), 12..30),
            truth in prop::array::uniform6(-3.0..3.0_f64),
        ) {
            let mut equations = NormalEquations::default();
            for row in &rows {
                let residual = row.iter().zip(truth).map(|(a, b)| a * b).sum();
                equations.add(row, residual, 2.0);
            }
            let (Some(found), Some(inverse)) = (equations.step(), equations.covariance()) else {
                return Ok(());
            };
            let condition = inverse.iter().flatten().fold(1.0_f64, |a, b| a.max(b.abs()));
            for (got, wanted) in found.iter().zip(truth) {
                prop_assert!((got - wanted).abs() < 1e-12 * condition * rows.len() as f64);
            }
        }
    }

    #[test]
    fn an_open_direction_has_no_solution() {
        let mut equations = NormalEquations::default();
        for i in 0..10 {
            equations.add(
                &[1.0, f64::from(i), 2.0 * f64::from(i), 1.0, 0.0, 0.0],
                1.0,
                1.0,
            );
        }
        assert!(equations.step().is_none());
        assert!(equations.covariance().is_none());
    }
}
