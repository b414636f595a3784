//! Time as data: UTC milliseconds, spans, and days counted by the sun over the site.
//! Never in here: a clock, a time zone, a calendar for people.

use serde::{Deserialize, Serialize};

/// A point in time, UTC, to the millisecond.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Time(i64);

/// A length of time, to the millisecond.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Span(i64);

/// A day from solar midnight to solar midnight at the site: daylight is never cut in two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(transparent)]
pub struct SolarDay(i64);

const DAY_MS: i64 = 86_400_000;

impl Time {
    /// From milliseconds since 1970-01-01T00:00:00Z.
    pub const fn from_unix_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// Milliseconds since 1970-01-01T00:00:00Z.
    pub const fn unix_ms(self) -> i64 {
        self.0
    }

    /// The start of the slot of length `step` that holds this time.
    pub const fn slot_start(self, step: Span) -> Time {
        Time(self.0.div_euclid(step.0) * step.0)
    }

    /// The solar day at a longitude (east positive): mean solar time, without the equation of time.
    pub fn solar_day(self, longitude_deg: f64) -> SolarDay {
        let shift_ms = (longitude_deg / 360.0 * DAY_MS as f64) as i64;
        SolarDay((self.0 + shift_ms).div_euclid(DAY_MS))
    }

    /// Hour of that day, 0 to 24: noon by the mean sun is 12.
    pub fn solar_hour(self, longitude_deg: f64) -> f64 {
        let shift_ms = (longitude_deg / 360.0 * DAY_MS as f64) as i64;
        Span((self.0 + shift_ms).rem_euclid(DAY_MS)).hours()
    }
}

impl SolarDay {
    /// The day so many days after that of 1970-01-01.
    pub const fn from_number(days: i64) -> Self {
        Self(days)
    }

    /// Days since that of 1970-01-01.
    pub const fn number(self) -> i64 {
        self.0
    }

    /// When it begins at a longitude (east positive).
    pub fn start(self, longitude_deg: f64) -> Time {
        let shift_ms = (longitude_deg / 360.0 * DAY_MS as f64) as i64;
        Time(self.0 * DAY_MS - shift_ms)
    }
}

impl Span {
    /// No time at all.
    pub const ZERO: Span = Span(0);

    /// From milliseconds.
    pub const fn from_ms(ms: i64) -> Self {
        Self(ms)
    }

    /// From whole seconds.
    pub const fn from_s(s: i64) -> Self {
        Self(s * 1000)
    }

    /// From whole minutes.
    pub const fn from_min(min: i64) -> Self {
        Self(min * 60_000)
    }

    /// From whole hours.
    pub const fn from_h(h: i64) -> Self {
        Self(h * 3_600_000)
    }

    /// Milliseconds.
    pub const fn ms(self) -> i64 {
        self.0
    }

    /// Seconds.
    pub const fn seconds(self) -> f64 {
        self.0 as f64 / 1000.0
    }

    /// Hours.
    pub const fn hours(self) -> f64 {
        self.0 as f64 / 3_600_000.0
    }

    /// Half of it, rounded towards zero.
    pub const fn half(self) -> Span {
        Span(self.0 / 2)
    }
}

impl SolarDay {
    /// Days from `earlier` to this one.
    pub const fn days_since(self, earlier: SolarDay) -> i64 {
        self.0 - earlier.0
    }
}

impl std::ops::Add<Span> for Time {
    type Output = Time;
    fn add(self, span: Span) -> Time {
        Time(self.0 + span.0)
    }
}

impl std::ops::Sub<Span> for Time {
    type Output = Time;
    fn sub(self, span: Span) -> Time {
        Time(self.0 - span.0)
    }
}

impl std::ops::Sub for Time {
    type Output = Span;
    fn sub(self, earlier: Time) -> Span {
        Span(self.0 - earlier.0)
    }
}

impl std::ops::Add for Span {
    type Output = Span;
    fn add(self, other: Span) -> Span {
        Span(self.0 + other.0)
    }
}

impl std::ops::Mul<i64> for Span {
    type Output = Span;
    fn mul(self, times: i64) -> Span {
        Span(self.0 * times)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_slot_starts_at_or_before_its_time_also_before_1970() {
        let step = Span::from_min(5);
        assert_eq!(
            Time::from_unix_ms(-1).slot_start(step),
            Time::from_unix_ms(-300_000)
        );
        assert_eq!(
            Time::from_unix_ms(300_000).slot_start(step),
            Time::from_unix_ms(300_000)
        );
        assert_eq!(
            Time::from_unix_ms(599_999).slot_start(step),
            Time::from_unix_ms(300_000)
        );
    }

    #[test]
    fn a_solar_day_turns_at_local_midnight() {
        let noon_utc = Time::from_unix_ms(43_200_000);
        let at_150_east = noon_utc.solar_day(150.0);
        assert_eq!(at_150_east.days_since(noon_utc.solar_day(0.0)), 0);
        assert_eq!(noon_utc.solar_hour(0.0), 12.0);
        assert_eq!(noon_utc.solar_hour(-150.0), 2.0);
        let later = (noon_utc + Span::from_h(3)).solar_day(150.0);
        assert_eq!(later.days_since(at_150_east), 1);
        let start = later.start(150.0);
        assert_eq!(start.solar_day(150.0), later);
        assert_eq!((start - Span::from_ms(1)).solar_day(150.0), at_150_east);
    }
}
