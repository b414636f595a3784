//! Calendar of the sun: Julian day, day of the year and month, all of them in UTC.
//!
//! Model:   JD = t / 86400 + 2440587.5;  civil date from the count of days since 1970-01-01
//! Symbols: t  seconds since 1970-01-01T00:00:00Z [s]    JD  Julian day [d]
//! Range:   any time that fits 64 bits; proleptic Gregorian calendar
//! Source:  JD of the epoch: I. Reda, A. Andreas, Solar Energy 76 (5), 2004. Civil date:
//!          H. Hinnant, "chrono-compatible low-level date algorithms", `civil_from_days` (from
//!          memory).
//! Check:   the JD of spa_nrel_example.csv (tests/reference/sky.rs); known dates below.

use crate::reading::Time;

const DAY_MS: i64 = 86_400_000;
/// Julian day of 1970-01-01T00:00:00Z [d].
const EPOCH_JD: f64 = 2_440_587.5;
/// Days from 0000-03-01 to 1970-01-01.
const EPOCH_FROM_MARCH_OF_YEAR_0: i64 = 719_468;
/// Days in 400 years.
const ERA_DAYS: i64 = 146_097;

/// Julian day [d].
pub fn julian_day(at: Time) -> f64 {
    at.unix_ms() as f64 / DAY_MS as f64 + EPOCH_JD
}

/// Day of the year in UTC, 1 to 366.
pub fn day_of_year(at: Time) -> u16 {
    let days = days_since_epoch(at);
    let (year, _, _) = civil_from_days(days);
    let day = days - days_from_new_year(year) + 1;
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

/// Year, month from 1, day from 1. Years begin in March so that the leap day comes last.
fn civil_from_days(days: i64) -> (i64, i64, i64) {
    let z = days + EPOCH_FROM_MARCH_OF_YEAR_0;
    let era = z.div_euclid(ERA_DAYS);
    let day_of_era = z.rem_euclid(ERA_DAYS);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_march_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march_month = (5 * day_of_march_year + 2) / 153;
    let day = day_of_march_year - (153 * march_month + 2) / 5 + 1;
    let month = if march_month < 10 {
        march_month + 3
    } else {
        march_month - 9
    };
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    (year, month, day)
}

/// Days from 1970-01-01 to the first of January of `year`.
fn days_from_new_year(year: i64) -> i64 {
    let before = year - 1;
    let leap_days = before.div_euclid(4) - before.div_euclid(100) + before.div_euclid(400);
    const LEAP_DAYS_BEFORE_1970: i64 = 1969 / 4 - 1969 / 100 + 1969 / 400;
    365 * (year - 1970) + leap_days - LEAP_DAYS_BEFORE_1970
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

    #[test]
    fn days_of_400_years_follow_each_other() {
        let mut before = civil_from_days(-1);
        for days in 0..ERA_DAYS {
            let (year, month, day) = civil_from_days(days);
            let next_day = (year, month, day) == (before.0, before.1, before.2 + 1);
            let next_month = day == 1 && (year, month) == (before.0, before.1 + 1);
            let next_year = (year, month, day) == (before.0 + 1, 1, 1) && before.1 == 12;
            assert!(next_day || next_month || next_year, "{before:?} {days}");
            before = (year, month, day);
        }
        assert_eq!(before, (2369, 12, 31));
    }
}
