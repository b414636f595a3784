//! The sky in cells, by where the sun stands.
//!
//! Model:   rows of 4 deg of elevation; a row is cut into as many columns of equal azimuth as make a
//!          column 3 deg wide along the row's middle: all cells are about as large, and the sun
//!          takes a quarter of an hour or less through one.
//! Symbols: elevation above the horizon, azimuth clockwise from north [deg].
//! Range:   sun above the horizon.
//! Source:  own; the size is engineering judgement: finer than a chimney at ten metres, coarse
//!          enough that the sun comes by on several days in a row (its path moves 0.4 deg a day).
//! Check:   tests below.

use crate::sky::SunPosition;
use serde::{Deserialize, Serialize};

/// Height of a row, and width of a column along the middle of its row [deg].
const HEIGHT_DEG: f64 = 4.0;
const WIDTH_DEG: f64 = 3.0;

/// One cell of the sky.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct SkyCell {
    row: u8,
    column: u8,
}

impl SkyCell {
    /// The cell in which the sun stands; `None` under the horizon.
    pub fn of(sun: &SunPosition) -> Option<Self> {
        let elevation_deg = sun.apparent_elevation_deg();
        let row = (elevation_deg >= 0.0).then_some((elevation_deg / HEIGHT_DEG) as u8)?;
        Some(Self::at(row, sun.azimuth.deg()))
    }

    fn at(row: u8, azimuth_deg: f64) -> Self {
        let columns = columns(row);
        let column = (azimuth_deg / 360.0 * f64::from(columns)) as u8;
        Self {
            row,
            column: column % columns,
        }
    }

    /// Azimuth of its middle [deg].
    pub fn azimuth_deg(self) -> f64 {
        (f64::from(self.column) + 0.5) * 360.0 / f64::from(columns(self.row))
    }

    /// Elevation of its middle [deg].
    pub fn elevation_deg(self) -> f64 {
        (f64::from(self.row) + 0.5) * HEIGHT_DEG
    }

    /// The cell at the same azimuth in the next row up (1) or down (-1).
    pub fn beside(self, rows: i8) -> Option<Self> {
        let row = self.row.checked_add_signed(rows)?;
        (f64::from(row) * HEIGHT_DEG < 90.0).then(|| Self::at(row, self.azimuth_deg()))
    }

    /// This cell and those up to one row and so many columns away.
    pub fn around(self, columns_away: u8) -> impl Iterator<Item = Self> {
        let rows = [Some(self), self.beside(1), self.beside(-1)];
        rows.into_iter().flatten().flat_map(move |middle| {
            let columns = u16::from(columns(middle.row));
            let away = u16::from(columns_away).min(columns / 2);
            (0..=2 * away).map(move |n| Self {
                row: middle.row,
                column: ((u16::from(middle.column) + columns - away + n) % columns) as u8,
            })
        })
    }
}

fn columns(row: u8) -> u8 {
    let middle_deg = (f64::from(row) + 0.5) * HEIGHT_DEG;
    let along = 360.0 / WIDTH_DEG * middle_deg.to_radians().cos();
    along.ceil().max(1.0) as u8
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Angle;
    use std::collections::BTreeSet;

    fn sun(elevation_deg: f64, azimuth_deg: f64) -> SunPosition {
        let zenith = Angle::from_deg(90.0 - elevation_deg);
        SunPosition {
            apparent_zenith: zenith,
            zenith,
            azimuth: Angle::from_deg(azimuth_deg),
        }
    }

    #[test]
    fn the_middle_of_a_cell_lies_in_it_and_the_sun_near_it() {
        for elevation_deg in [0.5, 12.0, 40.0, 88.0] {
            for azimuth_deg in [0.0, 1.0, 91.0, 270.0, 359.99] {
                let cell = SkyCell::of(&sun(elevation_deg, azimuth_deg)).expect("sun is up");
                let middle = sun(cell.elevation_deg(), cell.azimuth_deg());
                assert_eq!(SkyCell::of(&middle), Some(cell));
                assert!((cell.elevation_deg() - elevation_deg).abs() <= HEIGHT_DEG / 2.0);
                // Half a diagonal, and a little where columns widen towards the bottom of a row.
                let (e, f) = (
                    elevation_deg.to_radians(),
                    cell.elevation_deg().to_radians(),
                );
                let turn = (cell.azimuth_deg() - azimuth_deg).to_radians();
                let cos = e.sin() * f.sin() + e.cos() * f.cos() * turn.cos();
                let off_deg = cos.min(1.0).acos().to_degrees();
                assert!(off_deg <= WIDTH_DEG, "{cell:?} {off_deg}");
            }
        }
        assert_eq!(SkyCell::of(&sun(-0.1, 10.0)), None);
    }

    #[test]
    fn north_has_neighbours_on_both_sides() {
        let cell = SkyCell::of(&sun(30.0, 0.5)).expect("sun is up");
        let around: BTreeSet<SkyCell> = cell.around(1).collect();
        assert_eq!(around.len(), 9);
        assert!(around.iter().any(|c| c.azimuth_deg() > 350.0));
        assert!(around.iter().any(|c| c.elevation_deg() > 32.0));
        assert!(around.contains(&cell));
    }
}
