//! Days, months and years as the calendar at the site has them.
//! Never in here: solar days, by which figures are counted.

use crate::text::{self, midnight};
use analysis::reading::Time;
use chrono::{Datelike, Days, Months, NaiveDate};
use chrono_tz::Tz;

/// A length of time of the calendar.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Length {
    /// One day.
    Day,
    /// One month.
    Month,
    /// One year.
    Year,
}

impl Length {
    /// Every length.
    pub const ALL: [Length; 3] = [Length::Day, Length::Month, Length::Year];

    /// Its name in paths.
    pub const fn name(self) -> &'static str {
        match self {
            Length::Day => "day",
            Length::Month => "month",
            Length::Year => "year",
        }
    }

    /// The length with this name.
    pub fn from_name(name: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|length| length.name() == name)
    }
}

/// The day at the site at a time.
pub fn day_at(at: Time, timezone: Tz) -> NaiveDate {
    text::day_at(at, timezone).unwrap_or_default()
}

/// First day of the length that holds a day, and the first day after it.
pub fn around(day: NaiveDate, length: Length) -> (NaiveDate, NaiveDate) {
    let first = match length {
        Length::Day => day,
        Length::Month => day.with_day(1).unwrap_or(day),
        Length::Year => NaiveDate::from_ymd_opt(day.year(), 1, 1).unwrap_or(day),
    };
    (first, after(first, length).unwrap_or(first))
}

fn after(day: NaiveDate, length: Length) -> Option<NaiveDate> {
    match length {
        Length::Day => day.checked_add_days(Days::new(1)),
        Length::Month => day.checked_add_months(Months::new(1)),
        Length::Year => day.checked_add_months(Months::new(12)),
    }
}

/// The first day of the length before the one that begins on a day.
pub fn before(first: NaiveDate, length: Length) -> NaiveDate {
    let day = match length {
        Length::Day => first.checked_sub_days(Days::new(1)),
        Length::Month => first.checked_sub_months(Months::new(1)),
        Length::Year => first.checked_sub_months(Months::new(12)),
    };
    day.unwrap_or(first)
}

/// From when to when a length goes at the site.
pub fn span(day: NaiveDate, length: Length, timezone: Tz) -> (Time, Time) {
    let (first, next) = around(day, length);
    (midnight(first, timezone), midnight(next, timezone))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn date(text: &str) -> NaiveDate {
        text.parse().expect("a date")
    }

    #[test]
    fn a_day_on_which_the_clock_changes_is_an_hour_longer_or_shorter() {
        let hours = |day: &str, timezone| {
            let (from, to) = span(date(day), Length::Day, timezone);
            (to - from).hours()
        };
        assert_eq!(hours("2026-03-29", chrono_tz::Europe::Vienna), 23.0);
        assert_eq!(hours("2026-10-25", chrono_tz::Europe::Vienna), 25.0);
        // Here it is put forward at midnight, so the day begins at one.
        assert_eq!(hours("2024-04-26", chrono_tz::Africa::Cairo), 23.0);
    }

    #[test]
    fn months_and_years_are_those_of_the_calendar() {
        let leap = date("2028-02-29");
        assert_eq!(
            around(leap, Length::Month),
            (date("2028-02-01"), date("2028-03-01"))
        );
        assert_eq!(
            around(leap, Length::Year),
            (date("2028-01-01"), date("2029-01-01"))
        );
        assert_eq!(
            before(date("2028-03-01"), Length::Month),
            date("2028-02-01")
        );
        let late = Time::from_unix_ms(1_782_079_200_000); // 2026-06-21T22:00Z
        assert_eq!(day_at(late, chrono_tz::Europe::Vienna), date("2026-06-22"));
    }
}
