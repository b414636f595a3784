//! What modules lose with the years.
//!
//! Model:   left = 1 - first x min(t, 1) - yearly x max(t - 1, 0)
//! Symbols: t years since the handover, losses over rated power [-]
//! Range:   t >= 0, nothing is lost before; never below 0
//! Source:  the shape of a manufacturer's linear warranty (common practice): what modules lose at
//!          most, about twice what they lose on average (0.5 to 0.8 %/a of field surveys, from
//!          memory, verify)
//! Check:   tests below.

use crate::reading::Span;
use serde::{Deserialize, Serialize};

const YEAR_H: f64 = 8765.8128; // mean Gregorian year

/// Warranted loss of power of a module type.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Ageing {
    /// Loss in the first year over rated power [-].
    pub first_year_loss_ratio: f64,
    /// Loss in each later year over rated power [-].
    pub yearly_loss_ratio: f64,
}

impl Ageing {
    /// Modules that stay as they are.
    pub const NONE: Self = Self {
        first_year_loss_ratio: 0.0,
        yearly_loss_ratio: 0.0,
    };

    /// What is left of the power at this age [-].
    pub fn left_ratio(&self, age: Span) -> f64 {
        let years = (age.hours() / YEAR_H).max(0.0);
        let first = self.first_year_loss_ratio * years.min(1.0);
        let later = self.yearly_loss_ratio * (years - 1.0).max(0.0);
        (1.0 - first - later).max(0.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn it_loses_most_in_the_first_year_and_nothing_before() {
        let ageing = Ageing {
            first_year_loss_ratio: 0.02,
            yearly_loss_ratio: 0.005,
        };
        let left = |years: f64| ageing.left_ratio(Span::from_ms((years * YEAR_H * 3.6e6) as i64));
        for (years, wanted) in [(-1.0, 1.0), (0.5, 0.99), (1.0, 0.98), (11.0, 0.93)] {
            assert!(
                (left(years) - wanted).abs() < 1e-9,
                "{years}: {}",
                left(years)
            );
        }
    }
}
