//! Local calendar dates and clock times, for labels only.
//!
//! Range:   1970 to 2999; the caller has checked it.
//! Check:   the tests below; the calendar itself is `reading::calendar`.

use crate::reading::{Span, Time, civil_from_days, days_from_month};

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
        let (year, month, day) = civil_from_days(ms.div_euclid(DAY_MS));
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
    days_from_month(months.div_euclid(12), months.rem_euclid(12) + 1) * DAY_MS
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn labels_read_as_on_a_wall_clock() {
        let two_east = |_| Span::from_h(2);
        let local = Local::at(Time::from_unix_ms(1_736_805_600_000), &two_east);
        assert_eq!(local.full(), "14 Jan 2025, 00:00");
        assert_eq!(local.weekday_day_month(), "Tue 14 Jan");
        assert!(local.is_midnight());
    }
}
