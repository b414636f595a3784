//! Local calendar dates and clock times, for labels only.
//!
//! Model:   days since 1970-01-01 to year, month, day in the Gregorian calendar, by counting in
//!          eras of 400 years (146 097 days) and years that begin in March.
//! Range:   1970 to 2999; the caller has checked it.
//! Source:  the Gregorian rule itself (leap every 4, not every 100, but every 400 years).
//! Check:   every day of the range, against the rule counted forward, in the test below.

use crate::reading::{Span, Time};

const DAY_MS: i64 = 86_400_000;
const MINUTE_MS: i64 = 60_000;
const MONTHS: [&str; 12] = [
    "Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec",
];
/// 1970-01-01 was a Thursday.
const WEEKDAYS: [&str; 7] = ["Thu", "Fri", "Sat", "Sun", "Mon", "Tue", "Wed"];

/// A date and time of day on the clock at the site.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Local {
    /// Milliseconds from 1970-01-01 00:00 on that clock.
    pub ms: i64,
    /// Year.
    pub year: i64,
    /// 1 to 12.
    pub month: i64,
    /// 1 to 31.
    pub day: i64,
}

impl Local {
    /// What the clock at the site shows at a time.
    pub fn at(time: Time, utc_offset: &dyn Fn(Time) -> Span) -> Self {
        Self::from_ms(time.unix_ms() + utc_offset(time).ms())
    }

    /// From milliseconds on the local clock.
    pub fn from_ms(ms: i64) -> Self {
        let (year, month, day) = civil(ms.div_euclid(DAY_MS));
        Self {
            ms,
            year,
            month,
            day,
        }
    }

    /// Whether a day begins.
    pub fn is_midnight(self) -> bool {
        self.ms.rem_euclid(DAY_MS) == 0
    }

    /// `06:00`
    pub fn clock(self) -> String {
        let minutes = self.ms.rem_euclid(DAY_MS) / MINUTE_MS;
        format!("{:02}:{:02}", minutes / 60, minutes % 60)
    }

    /// `14 Jan`
    pub fn day_month(self) -> String {
        format!("{} {}", self.day, self.month_name())
    }

    /// `Tue 14 Jan`
    pub fn weekday_day_month(self) -> String {
        let weekday = WEEKDAYS[self.ms.div_euclid(DAY_MS).rem_euclid(7) as usize];
        format!("{weekday} {}", self.day_month())
    }

    /// `14 Jan 2025, 06:00`
    pub fn full(self) -> String {
        format!("{} {}, {}", self.day_month(), self.year, self.clock())
    }

    /// `Jan`
    pub fn month_name(self) -> &'static str {
        MONTHS[(self.month - 1) as usize]
    }
}

/// Local milliseconds of the first day of a month counted from year 0.
pub fn month_start_ms(months: i64) -> i64 {
    days(months.div_euclid(12), months.rem_euclid(12) + 1) * DAY_MS
}

/// Days from 1970-01-01 to the first of a month.
fn days(year: i64, month: i64) -> i64 {
    let year = if month <= 2 { year - 1 } else { year };
    let era = year.div_euclid(400);
    let year_of_era = year.rem_euclid(400);
    let day_of_year = (153 * ((month + 9) % 12) + 2) / 5;
    let day_of_era = year_of_era * 365 + year_of_era / 4 - year_of_era / 100 + day_of_year;
    era * 146_097 + day_of_era - 719_468
}

/// Year, month and day of a number of days from 1970-01-01.
fn civil(days: i64) -> (i64, i64, i64) {
    let shifted = days + 719_468;
    let era = shifted.div_euclid(146_097);
    let doe = shifted.rem_euclid(146_097);
    let year_of_era = (doe - doe / 1460 + doe / 36_524 - doe / 146_096) / 365;
    let day_of_year = doe - (365 * year_of_era + year_of_era / 4 - year_of_era / 100);
    let march_month = (5 * day_of_year + 2) / 153;
    let day = day_of_year - (153 * march_month + 2) / 5 + 1;
    let month = (march_month + 2) % 12 + 1;
    let year = year_of_era + era * 400 + i64::from(month <= 2);
    (year, month, day)
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
    fn every_day_of_the_range_follows_the_gregorian_rule() {
        let mut count = 0;
        for year in 1970..3000 {
            for month in 1..=12 {
                assert_eq!(month_start_ms(year * 12 + month - 1), count * DAY_MS);
                for day in 1..=days_in_month(year, month) {
                    assert_eq!(civil(count), (year, month, day));
                    count += 1;
                }
            }
        }
    }

    #[test]
    fn labels_read_as_on_a_wall_clock() {
        let two_east = |_| Span::from_h(2);
        let local = Local::at(Time::from_unix_ms(1_736_805_600_000), &two_east);
        assert_eq!(local.full(), "14 Jan 2025, 00:00");
        assert_eq!(local.weekday_day_month(), "Tue 14 Jan");
        assert!(local.is_midnight());
    }
}
