//! Calendar of the sun: Julian day, day of the year and month, all of them in UTC.
//!
//! Model:   JD = t / 86400 + 2440587.5;  civil date by `reading::calendar`
//! Symbols: t  seconds since 1970-01-01T00:00:00Z [s]    JD  Julian day [d]
//! Range:   any time that fits 64 bits; proleptic Gregorian calendar
//! Source:  JD of the epoch: I. Reda, A. Andreas, Solar Energy 76 (5), 2004.
//! Check:   the JD of spa_nrel_example.csv (tests/reference/sky.rs); known dates below.

use crate::reading::{Time, civil_from_days, days_from_month};

const DAY_MS: i64 = 86_400_000;
/// Julian day of 1970-01-01T00:00:00Z [d].
const EPOCH_JD: f64 = 2_440_587.5;
/// Julian day [d].
pub fn julian_day(at: Time) -> f64 {
    at.unix_ms() as f64 / DAY_MS as f64 + EPOCH_JD
}

/// Day of the year in UTC, 1 to 366.
pub fn day_of_year(at: Time) -> u16 {
    let days = days_since_epoch(at);
    let (year, _, _) = civil_from_days(days);
    let day = days - days_from_month(year, 1) + 1;
    u16::try_from(day).expect("a year has at most 366 days")
}

/// Month in UTC, 0 for January to 11 for December.
pub fn month_index(at: Time) -> usize {
    let (_, month, _) = civil_from_days(days_since_epoch(at));
    usize::try_from(month - 1).expect("months are counted from 1")
}

fn days_since_epoch(at: Time) -> i64 {
    at.unix_ms().div_euclid(DAY_MS)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Seconds since the epoch of known dates, as `date -u -d ... +%s` prints them.
    const KNOWN: [(i64, usize, u16); 7] = [
        (0, 0, 1),                // 1970-01-01T00:00:00Z
        (-1, 11, 365),            // 1969-12-31T23:59:59Z
        (951_782_400, 1, 60),     // 2000-02-29T00:00:00Z
        (951_868_799, 1, 60),     // 2000-02-29T23:59:59Z
        (1_066_419_030, 9, 290),  // 2003-10-17T19:30:30Z
        (1_735_689_599, 11, 366), // 2024-12-31T23:59:59Z
        (4_107_542_400, 2, 60),   // 2100-03-01T00:00:00Z, no leap year
    ];

    #[test]
    fn known_dates_have_their_month_and_day_of_the_year() {
        for (seconds, month, day) in KNOWN {
            let at = Time::from_unix_ms(seconds * 1000);
            assert_eq!(
                (month_index(at), day_of_year(at)),
                (month, day),
                "{seconds}"
            );
        }
    }
}
