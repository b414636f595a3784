//! Julian day, day of the year and month from a time, all in UTC.
//!
//! Model:   the proleptic Gregorian calendar, in eras of 400 years from 1 March.
//! Symbols: days as integers from 1970-01-01.
//! Range:   any time that fits in milliseconds.
//! Source:  own; Julian day of 1970-01-01T00:00Z is 2440587.5.
//! Check:   unit tests below.

use crate::reading::Time;

const DAY_MS: i64 = 86_400_000;
const JULIAN_DAY_1970: f64 = 2_440_587.5;

/// Julian day, UTC taken as UT1.
pub(super) fn julian_day(at: Time) -> f64 {
    at.unix_ms() as f64 / DAY_MS as f64 + JULIAN_DAY_1970
}

/// Month of the year, 0 for January.
pub fn month_index(at: Time) -> usize {
    civil(at).1 as usize - 1
}

/// Day of the year from 1.
pub(super) fn day_of_year(at: Time) -> i64 {
    let (year, ..) = civil(at);
    days(at) - days_of(year, 1, 1) + 1
}

/// Year with its fraction, good to a month.
pub(super) fn decimal_year(at: Time) -> f64 {
    let (year, month, _) = civil(at);
    year as f64 + (month as f64 - 0.5) / 12.0
}

fn days(at: Time) -> i64 {
    at.unix_ms().div_euclid(DAY_MS)
}

/// Year, month and day.
fn civil(at: Time) -> (i64, i64, i64) {
    // Day 0 of the first era is 0000-03-01, so that leap days come last.
    let z = days(at) + 719_468;
    let era = z.div_euclid(146_097);
    let day_of_era = z.rem_euclid(146_097);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * march_month + 2) / 5 + 1;
    let month = if march_month < 10 {
        march_month + 3
    } else {
        march_month - 9
    };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    (year, month, day)
}

/// Days from 1970-01-01.
fn days_of(year: i64, month: i64, day: i64) -> i64 {
    let y = if month <= 2 { year - 1 } else { year };
    let era = y.div_euclid(400);
    let year_of_era = y.rem_euclid(400);
    let march_month = (month + 9) % 12;
    let day_of_year = (153 * march_month + 2) / 5 + day - 1;
    era * 146_097 + year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year - 719_468
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn leap_days_and_centuries_are_counted() {
        for (days, date, day_of) in [
            (0, (1970, 1, 1), 1),
            (-1, (1969, 12, 31), 365),
            (11_016, (2000, 2, 29), 60),
            (11_322, (2000, 12, 31), 366),
            (20_454, (2026, 1, 1), 1),
            (47_541, (2100, 3, 1), 60),
        ] {
            let at = Time::from_unix_ms(days * DAY_MS + 1);
            assert_eq!(civil(at), date);
            assert_eq!(day_of_year(at), day_of, "{date:?}");
            assert_eq!(days_of(date.0, date.1, date.2), days);
        }
    }
}
