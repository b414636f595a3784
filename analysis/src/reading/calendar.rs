//! The Gregorian calendar as arithmetic on counted days.
//!
//! Model:   days since 1970-01-01 to year, month, day and back, in eras of 400 years (146 097 days)
//!          and years that begin in March, so that the leap day comes last.
//! Range:   any count that fits; proleptic before 1582.
//! Source:  the Gregorian rule itself (leap every 4, not every 100, but every 400 years).
//! Check:   every day of four thousand years against the rule counted forward, below.

/// Days in 400 years.
const ERA_DAYS: i64 = 146_097;
/// Days from 0000-03-01 to 1970-01-01.
const EPOCH_FROM_MARCH_OF_YEAR_0: i64 = 719_468;

/// Year, month from 1 and day from 1 of a number of days from 1970-01-01.
pub(crate) fn civil_from_days(days: i64) -> (i64, i64, i64) {
    let shifted = days + EPOCH_FROM_MARCH_OF_YEAR_0;
    let era = shifted.div_euclid(ERA_DAYS);
    let day_of_era = shifted.rem_euclid(ERA_DAYS);
    let year_of_era =
        (day_of_era - day_of_era / 1460 + day_of_era / 36_524 - day_of_era / 146_096) / 365;
    let day_of_year = day_of_era - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * march_month + 2) / 5 + 1;
    let month = (march_month + 2) % 12 + 1;
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    (year, month, day)
}

/// Days from 1970-01-01 to the first of a month, counted from 1.
pub(crate) fn days_from_month(year: i64, month: i64) -> i64 {
    let march_year = if month <= 2 { year - 1 } else { year };
    let era = march_year.div_euclid(400);
    let year_of_era = march_year.rem_euclid(400);
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5;
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    era * ERA_DAYS + day_of_era - EPOCH_FROM_MARCH_OF_YEAR_0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn days_in_month(year: i64, month: i64) -> i64 {
        let leap = year % 4 == 0 && (year % 100 != 0 || year % 400 == 0);
        match month {
            2 => 28 + i64::from(leap),
            4 | 6 | 9 | 11 => 30,
            _ => 31,
        }
    }

    #[test]
    fn every_day_of_four_thousand_years_follows_the_gregorian_rule() {
        let mut count = days_from_month(-1000, 1);
        for year in -1000..3000 {
            assert!(year != 1970 || count == 0);
            for month in 1..=12 {
                assert_eq!(days_from_month(year, month), count);
                for day in 1..=days_in_month(year, month) {
                    assert_eq!(civil_from_days(count), (year, month, day));
                    count += 1;
                }
            }
        }
    }
}
