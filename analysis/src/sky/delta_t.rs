//! Delta T, terrestrial time minus universal time.
//!
//! Model:   Delta T = 32.184 s + (TAI - UTC), with UT1 taken as UTC
//! Symbols: TAI - UTC  leap seconds [s]
//! Range:   from 1999 within 0.9 s, the bound on UT1 - UTC, until the next leap second is decided;
//!          earlier years take the first row: 22 s too much in 1972, 0.0003 deg of sun position
//! Source:  IERS Bulletin C; definition of terrestrial time, 32.184 s (both from memory, rows
//!          compared with the leap-second list of the time zone database)
//! Check:   below, 69.2 s in 2025.

use crate::reading::Time;

/// Terrestrial time minus atomic time [s].
const TT_MINUS_TAI_S: f64 = 32.184;

/// TAI - UTC before the first row of [`LEAP_SECONDS`] [s].
const BEFORE_FIRST_ROW_S: f64 = 32.0;

/// From when [ms since 1970], TAI - UTC [s].
const LEAP_SECONDS: [(i64, f64); 5] = [
    (1_136_073_600_000, 33.0), // 2006-01-01
    (1_230_768_000_000, 34.0), // 2009-01-01
    (1_341_100_800_000, 35.0), // 2012-07-01
    (1_435_708_800_000, 36.0), // 2015-07-01
    (1_483_228_800_000, 37.0), // 2017-01-01
];

/// Terrestrial minus universal time [s].
pub fn delta_t_s(at: Time) -> f64 {
    let row = LEAP_SECONDS
        .iter()
        .rev()
        .find(|(from, _)| *from <= at.unix_ms());
    TT_MINUS_TAI_S + row.map_or(BEFORE_FIRST_ROW_S, |(_, leap)| *leap)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn delta_t_steps_with_the_leap_seconds() {
        let new_year_2017 = Time::from_unix_ms(1_483_228_800_000);
        let just_before = Time::from_unix_ms(1_483_228_799_999);
        let in_2003 = Time::from_unix_ms(1_066_419_030_000);
        assert_eq!(delta_t_s(new_year_2017), 69.184);
        assert_eq!(delta_t_s(just_before), 68.184);
        assert_eq!(delta_t_s(in_2003), 64.184);
    }
}
