//! What stands between a plane and the sky: hills, trees, the next roof.
//!
//! Model:   elevation of the horizon over azimuth, straight between corners, closed round north
//! Symbols: elevation from horizontal, azimuth clockwise from north [deg]
//! Range:   at least one corner, azimuths 0 to below 360 and rising, elevations 0 to below 90
//! Source:  common practice
//! Check:   tests below; `sky::horizon` for what it hides.

use crate::reading::Angle;
use serde::{Deserialize, Serialize};
use thiserror::Error;

/// Why corners make no horizon.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum HorizonError {
    /// No corners.
    #[error("found no corners of the horizon, wanted at least one")]
    NoCorners,
    /// An azimuth outside its range.
    #[error("found an azimuth of {found_deg} deg, wanted 0 to below 360 deg")]
    Azimuth {
        /// What was found.
        found_deg: f64,
    },
    /// An elevation outside its range.
    #[error("found an elevation of {found_deg} deg, wanted 0 to below 90 deg")]
    Elevation {
        /// What was found.
        found_deg: f64,
    },
    /// Azimuths that do not rise.
    #[error("found an azimuth of {then_deg} deg after {first_deg} deg, wanted a larger one")]
    Order {
        /// The one before.
        first_deg: f64,
        /// The one after.
        then_deg: f64,
    },
}

/// A corner of the horizon.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Corner {
    /// Clockwise from north.
    pub azimuth: Angle,
    /// From horizontal.
    pub elevation: Angle,
}

/// The horizon of a plane.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Horizon {
    corners: Vec<Corner>,
}

impl Horizon {
    /// From its corners, in order of azimuth.
    ///
    /// # Errors
    /// If there are none, or one is out of range or out of order.
    pub fn new(corners: Vec<Corner>) -> Result<Self, HorizonError> {
        if corners.is_empty() {
            return Err(HorizonError::NoCorners);
        }
        for corner in &corners {
            let (azimuth, elevation) = (corner.azimuth.deg(), corner.elevation.deg());
            if !(0.0..360.0).contains(&azimuth) {
                return Err(HorizonError::Azimuth { found_deg: azimuth });
            }
            if !(0.0..90.0).contains(&elevation) {
                return Err(HorizonError::Elevation {
                    found_deg: elevation,
                });
            }
        }
        let rises = |pair: &&[Corner]| pair[0].azimuth >= pair[1].azimuth;
        if let Some(pair) = corners.windows(2).find(rises) {
            return Err(HorizonError::Order {
                first_deg: pair[0].azimuth.deg(),
                then_deg: pair[1].azimuth.deg(),
            });
        }
        Ok(Self { corners })
    }

    /// Elevation of the horizon at an azimuth.
    pub fn elevation(&self, azimuth: Angle) -> Angle {
        let turn = azimuth.deg().rem_euclid(360.0);
        let count = self.corners.len();
        let next = self.corners.partition_point(|c| c.azimuth.deg() <= turn);
        let (from, to) = (
            self.corners[(next + count - 1) % count],
            self.corners[next % count],
        );
        let clockwise = |a: f64, b: f64| (b - a).rem_euclid(360.0);
        let width = clockwise(from.azimuth.deg(), to.azimuth.deg());
        if width == 0.0 {
            return from.elevation; // a single corner: level all round
        }
        let share = clockwise(from.azimuth.deg(), turn) / width;
        let rise = to.elevation.deg() - from.elevation.deg();
        Angle::from_deg(from.elevation.deg() + share * rise)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn deg(value: f64) -> Angle {
        Angle::from_deg(value)
    }

    fn horizon(corners: &[(f64, f64)]) -> Result<Horizon, HorizonError> {
        let corner = |&(azimuth, elevation)| Corner {
            azimuth: deg(azimuth),
            elevation: deg(elevation),
        };
        Horizon::new(corners.iter().map(corner).collect())
    }

    fn horizons() -> impl Strategy<Value = Vec<(f64, f64)>> {
        prop::collection::btree_map(0..3600_u32, 0.0..89.9f64, 1..12).prop_map(|corners| {
            let corner = |(tenths, elevation)| (f64::from(tenths) / 10.0, elevation);
            corners.into_iter().map(corner).collect()
        })
    }

    proptest! {
        #[test]
        fn it_passes_its_corners_and_stays_between_them(
            corners in horizons(),
            azimuth in -720.0..720.0f64,
        ) {
            const ROUNDING_DEG: f64 = 1e-9;
            let line = horizon(&corners).expect("in range and in order");
            for (at, elevation) in &corners {
                let got = line.elevation(deg(*at)).deg();
                prop_assert!((got - elevation).abs() < ROUNDING_DEG, "{got} at {at}");
            }
            let least = corners.iter().map(|c| c.1).fold(f64::INFINITY, f64::min);
            let most = corners.iter().map(|c| c.1).fold(0.0, f64::max);
            let got = line.elevation(deg(azimuth)).deg();
            prop_assert!((least - ROUNDING_DEG..=most + ROUNDING_DEG).contains(&got));
            let turned = line.elevation(deg(azimuth + 360.0)).deg();
            prop_assert!((turned - got).abs() < ROUNDING_DEG * 1e3);
        }
    }

    #[test]
    fn it_is_straight_across_north() {
        let line = horizon(&[(10.0, 20.0), (350.0, 10.0)]).expect("two corners");
        assert!((line.elevation(deg(0.0)).deg() - 15.0).abs() < 1e-12);
    }

    #[test]
    fn what_is_no_horizon_is_refused_with_its_numbers() {
        assert_eq!(horizon(&[]), Err(HorizonError::NoCorners));
        let azimuth = HorizonError::Azimuth { found_deg: 360.0 };
        assert_eq!(horizon(&[(360.0, 1.0)]), Err(azimuth));
        let elevation = HorizonError::Elevation { found_deg: 90.0 };
        assert_eq!(horizon(&[(0.0, 90.0)]), Err(elevation));
        assert!(horizon(&[(0.0, f64::NAN)]).is_err());
        let order = HorizonError::Order {
            first_deg: 20.0,
            then_deg: 10.0,
        };
        assert_eq!(horizon(&[(20.0, 1.0), (10.0, 1.0)]), Err(order));
    }
}
