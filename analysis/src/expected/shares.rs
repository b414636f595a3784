//! What the inputs of a plane show of a clear sky.
//!
//! Model:   share = an input's current over what it would carry under the clear sky. Light of a plane:
//!          s = sum(w_k s_k) / sum(w_k),  w_k Tukey's weight of (s_best - s_k) / (sqrt(2) s_best u_k)
//!                                                                                      eq. (1)
//!          so that inputs that agree are averaged and one that a fault has lowered does not count;
//!          n = sum(w_k) of them show it.
//! Symbols: s_k share of input k [-], u_k its own standard deviation, the tracker's included [-]
//! Range:   at least one input that vouches: it reports, its inverter is at work, nothing stands on it. One
//!          that is held back shows the light only by its place on the curve (`on_curve`), and is heard
//!          where none at its peak is.
//! Source:  own; weight in `reading::robust`
//! Check:   tests below; tests/acceptance/coverage.rs for the widths that follow.

use super::sigma;
use crate::reading::tukey_weight;

/// What one input shows.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct InputShare {
    /// Its share of the clear sky [-].
    pub share: f64,
    /// One standard deviation of what is its own [-].
    pub own_ratio: f64,
    /// Relative error from light that changed during the slot [-].
    pub unsteady_ratio: f64,
    /// Whether it is held back, and shows the light by its place on the curve.
    pub by_curve: bool,
}

/// What the inputs of one plane show.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct PlaneShare {
    /// Inputs that can vouch for the light: all of them at their peak, or none.
    vouching: Vec<InputShare>,
    /// Inputs that cannot: on which a finding stands, or whose inverter is not at work.
    others: usize,
}

/// What they show together.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Together {
    /// Share of the clear sky [-].
    pub share: f64,
    /// How many inputs agree on it [-].
    pub inputs: f64,
    /// Relative error from light that changed during the slot [-].
    pub unsteady_ratio: f64,
    /// Whether it is by their places on the curve.
    pub by_curve: bool,
}

impl PlaneShare {
    /// Takes one more input that can vouch for the light.
    pub fn add(&mut self, input: InputShare) {
        let heard = self.vouching.first().map(|first| first.by_curve);
        match (heard, input.by_curve) {
            (Some(false), true) => self.others += 1,
            (Some(true), false) => {
                self.others += self.vouching.len();
                self.vouching = vec![input];
            }
            _ => self.vouching.push(input),
        }
    }

    /// Takes one more input that cannot.
    pub fn add_without_voice(&mut self) {
        self.others += 1;
    }

    /// How many inputs vouch.
    pub(super) fn vouching(&self) -> usize {
        self.vouching.len()
    }

    /// Whether there are other inputs on the plane.
    pub(super) fn has_others(&self) -> bool {
        self.others > 0
    }

    /// What they show; `None` where none can vouch.
    pub(super) fn together(&self) -> Option<Together> {
        let by_curve = self.vouching.first()?.by_curve;
        let best = self.vouching.iter().map(|i| i.share).reduce(f64::max)?;
        let weight = |input: &InputShare| {
            let sigma = std::f64::consts::SQRT_2 * best * input.own_ratio.hypot(sigma::TRACKER);
            if best > input.share {
                tukey_weight((best - input.share) / sigma)
            } else {
                1.0
            }
        };
        let weighed = |of: fn(&InputShare) -> f64| -> f64 {
            self.vouching.iter().map(|i| weight(i) * of(i)).sum()
        };
        let inputs = weighed(|_| 1.0);
        Some(Together {
            share: weighed(|input| input.share) / inputs, // eq. (1)
            inputs,
            unsteady_ratio: weighed(|input| input.unsteady_ratio) / inputs,
            by_curve,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn together(shares: &[f64]) -> Together {
        let mut plane = PlaneShare::default();
        for share in shares {
            plane.add(InputShare {
                share: *share,
                own_ratio: 0.015,
                unsteady_ratio: 0.0,
                by_curve: false,
            });
        }
        plane.together().expect("inputs vouch")
    }

    #[test]
    fn inputs_that_agree_are_averaged() {
        let all = together(&[0.80, 0.81, 0.805]);
        assert!((all.share - 0.805).abs() < 0.001, "{all:?}");
        assert!(all.inputs > 2.8, "{all:?}");
    }

    #[test]
    fn one_open_string_of_eight_does_not_lower_the_light() {
        let all = together(&[0.80, 0.80 * 7.0 / 8.0]);
        assert!((all.share - 0.80).abs() < 0.002, "{all:?}");
    }

    #[test]
    fn inputs_that_are_held_back_are_heard_where_no_other_is() {
        let input = |share, by_curve| InputShare {
            share,
            own_ratio: 0.015,
            unsteady_ratio: 0.0,
            by_curve,
        };
        let (held_back, free) = (input(0.9, true), input(0.8, false));
        for inputs in [[held_back, free, free], [free, held_back, free]] {
            let mut plane = PlaneShare::default();
            inputs.into_iter().for_each(|input| plane.add(input));
            let together = plane.together().expect("inputs vouch");
            assert_eq!((together.share, together.by_curve), (0.8, false));
            assert!(plane.has_others());
        }
        let mut plane = PlaneShare::default();
        plane.add(held_back);
        let alone = plane.together().expect("it vouches");
        assert_eq!((alone.share, alone.by_curve), (0.9, true));
    }

    #[test]
    fn darkness_is_a_share_as_well_and_nobody_is_none() {
        assert_eq!(together(&[0.0, 0.0]).share, 0.0);
        let mut silent = PlaneShare::default();
        silent.add_without_voice();
        assert_eq!(silent.together(), None);
    }
}
