//! The sun's direction at many times near each other: the slow part once a day, the rest each time.
//!
//! Model:   cos delta, sin delta, sin xi and d = nu - alpha - 360 tau are smooth; through their
//!          values at 0 h UTC of the day before, the day and the two after it goes a cubic, for
//!          the day.  H = d + 360 tau + sigma.  Equator to horizon, with parallax, as a vector:
//!          a = cos delta cos H - x sin xi, b = cos delta sin H, c = sin delta - y sin xi;
//!          up = c sin phi + a cos phi, north = c cos phi - a sin phi, east = -b,
//!          their length made one again; the zenith from both its parts, up and level (`angles`)
//! Symbols: tau  part of the day that has passed [-]    d  the equation of time about 180 [deg]
//!          others as in `geocentric` and `topocentric`
//! Range:   as in `geocentric`. The cubics of a day come from nothing but the day and its Delta T:
//!          a position does not depend on what was asked before.
//! Source:  values at 0 h from `geocentric`; the vector is the step from H, delta to H', delta' of
//!          the algorithm without its angles; interpolation between four points, Lagrange.
//!          Its error is at most 0.0235 h^4 |f''''|, 3e-7 deg for h = 1 d: in longitude the moon's
//!          6.4 arcsec in 29.5 d and in right ascension 2.5 deg in half a year make 1e-5 deg/d4.
//! Check:   `property_tests`, against the whole algorithm, 1950 to 2050.

use super::angles::{from_vertical, sin_cos_deg, whole_number};
use super::extraterrestrial::extraterrestrial;
use super::geocentric::geocentric;
use super::observer::Observer;
use super::sun::{SunDirection, SunPosition};
use super::sunlight::Sunlight;
use super::topocentric::{Place, air_ratio, parallax_deg, refraction_deg};
use crate::reading::{Angle, Irradiance, Time};

const DAY_MS: i64 = 86_400_000;

/// The sun as one observer sees it, for times that follow each other: a new day costs
/// [`sun_position`](super::sun_position) four times, the day after it once, a time in a day
/// a few polynomials.
#[derive(Debug, Clone)]
pub struct SunTrack {
    observer: Observer,
    place: Place,
    air_ratio: f64,
    day: Day,
}

/// The sun of one time: zenith without air, Delta e, and its direction without air, of length one.
struct Seen {
    zenith_deg: f64,
    refraction_deg: f64,
    up: f64,
    north: f64,
    east: f64,
    level: f64,
}

/// What holds for one day in UTC.
#[derive(Debug, Clone, Copy)]
struct Day {
    number: i64,
    delta_t_s: f64,
    /// At -1, 0, 1 and 2 days.
    knots: [Knot; 4],
    clock_to_sun_deg: Cubic,
    cos_declination: Cubic,
    sin_declination: Cubic,
    sin_parallax: Cubic,
    extraterrestrial: Irradiance,
}

/// The sun at 0 h.
#[derive(Debug, Clone, Copy)]
struct Knot {
    /// d.
    clock_to_sun_deg: f64,
    cos_declination: f64,
    sin_declination: f64,
    sin_parallax: f64,
}

/// Coefficients from the constant upwards, over the part of the day.
type Cubic = [f64; 4];

impl SunTrack {
    /// The track of an observer's sun.
    pub fn new(observer: Observer) -> Self {
        Self {
            place: Place::of(&observer),
            air_ratio: air_ratio(&observer),
            // Any day will do: another one is computed when it is asked for.
            day: Day::new(0, observer.delta_t_s(Time::from_unix_ms(0))),
            observer,
        }
    }

    /// Where the sun stands; the full algorithm to 2e-6 deg.
    pub fn position(&mut self, at: Time) -> SunPosition {
        let seen = self.seen(at);
        let azimuth = seen.east.atan2(seen.north).to_degrees();
        SunPosition {
            apparent_zenith: Angle::from_deg(seen.zenith_deg - seen.refraction_deg),
            zenith: Angle::from_deg(seen.zenith_deg),
            azimuth: Angle::from_deg(within_turn(azimuth)),
        }
    }

    /// The light of the sun, for which no azimuth is needed.
    pub fn sunlight(&mut self, at: Time) -> Sunlight {
        let Seen {
            zenith_deg,
            refraction_deg,
            up,
            north,
            east,
            level,
        } = self.seen(at);
        // The air lifts the direction by Delta e.
        let (sin, cos) = small_sin_cos(refraction_deg.to_radians());
        let lifted = cos - up * sin / level.max(f64::MIN_POSITIVE);
        let direction = SunDirection {
            up: up * cos + level * sin,
            north: north * lifted,
            east: east * lifted,
        };
        let apparent_zenith = Angle::from_deg(zenith_deg - refraction_deg);
        Sunlight::from_direction(direction, apparent_zenith, self.day.extraterrestrial)
    }

    /// Irradiance facing the sun outside the atmosphere on this day.
    pub fn extraterrestrial(&mut self, at: Time) -> Irradiance {
        self.move_to(at);
        self.day.extraterrestrial
    }

    fn seen(&mut self, at: Time) -> Seen {
        self.move_to(at);
        let day = &self.day;
        let passed_ms = (at.unix_ms() - day.number * DAY_MS).cast_unsigned();
        let tau = whole_number(passed_ms) * (1.0 / DAY_MS as f64);
        let h = value(&day.clock_to_sun_deg, tau) + 360.0 * tau + self.observer.longitude.deg();
        let (sin_h, cos_h) = sin_cos_deg(h);
        let cos_delta = value(&day.cos_declination, tau);
        let sin_delta = value(&day.sin_declination, tau);
        let sin_xi = value(&day.sin_parallax, tau);
        let Place {
            sin_phi,
            cos_phi,
            x,
            y,
        } = self.place;
        let (a, b, c) = (
            cos_delta * cos_h - x * sin_xi,
            cos_delta * sin_h,
            sin_delta - y * sin_xi,
        );
        // The parallax takes 1e-4 of the length at most: four terms of its inverse have 16 digits.
        let over = a * a + b * b + c * c - 1.0;
        let per_length = 1.0 - over * (0.5 - over * (0.375 - over * 0.3125));
        let up = (c * sin_phi + a * cos_phi) * per_length;
        let north = (c * cos_phi - a * sin_phi) * per_length;
        let east = -b * per_length;
        let level = (north * north + east * east).sqrt();
        let zenith_deg = from_vertical(up, level).to_degrees();
        Seen {
            zenith_deg,
            refraction_deg: refraction_deg(90.0 - zenith_deg, self.air_ratio),
            up,
            north,
            east,
            level,
        }
    }

    fn move_to(&mut self, at: Time) {
        let number = at.unix_ms().div_euclid(DAY_MS);
        if self.day.number != number {
            // Delta T steps at 0 h: a day has one.
            self.day = self.day.or_next(number, self.observer.delta_t_s(at));
        }
    }
}

impl Day {
    fn new(number: i64, delta_t_s: f64) -> Self {
        let knots = [-1, 0, 1, 2].map(|days| Knot::new(number + days, delta_t_s));
        Self::through(number, delta_t_s, knots)
    }

    /// The day `number`, with the knots that it shares with this one.
    fn or_next(&self, number: i64, delta_t_s: f64) -> Self {
        if number != self.number + 1 || delta_t_s != self.delta_t_s {
            return Self::new(number, delta_t_s);
        }
        let [_, before, start, end] = self.knots;
        let after = Knot::new(number + 2, delta_t_s);
        Self::through(number, delta_t_s, [before, start, end, after])
    }

    fn through(number: i64, delta_t_s: f64, knots: [Knot; 4]) -> Self {
        Self {
            number,
            delta_t_s,
            knots,
            clock_to_sun_deg: cubic(knots.map(|k| k.clock_to_sun_deg)),
            cos_declination: cubic(knots.map(|k| k.cos_declination)),
            sin_declination: cubic(knots.map(|k| k.sin_declination)),
            sin_parallax: cubic(knots.map(|k| k.sin_parallax)),
            extraterrestrial: extraterrestrial(midnight(number)),
        }
    }
}

impl Knot {
    fn new(number: i64, delta_t_s: f64) -> Self {
        let sun = geocentric(midnight(number), delta_t_s);
        let (sin_declination, cos_declination) = sun.declination_deg.to_radians().sin_cos();
        Self {
            // The sun crosses the meridian of Greenwich near 12 h, so this is near 180: no wrap.
            clock_to_sun_deg: (sun.sidereal_deg - sun.right_ascension_deg).rem_euclid(360.0),
            cos_declination,
            sin_declination,
            sin_parallax: parallax_deg(sun.radius_au).to_radians().sin(),
        }
    }
}

fn midnight(number: i64) -> Time {
    Time::from_unix_ms(number * DAY_MS)
}

/// Sine and cosine of less than 0.65 deg, to 1e-14.
fn small_sin_cos(angle: f64) -> (f64, f64) {
    let square = angle * angle;
    let sin = angle * (1.0 - square * (1.0 / 6.0) * (1.0 - square * (1.0 / 20.0)));
    (sin, 1.0 - square * 0.5 * (1.0 - square * (1.0 / 12.0)))
}

/// The cubic through values at -1, 0, 1 and 2.
fn cubic([before, start, end, after]: [f64; 4]) -> Cubic {
    let (d1, d2) = (end - before, end - 2.0 * start + before);
    let d3 = after - 3.0 * end + 3.0 * start - before;
    [start, d1 / 2.0 - d3 / 6.0, d2 / 2.0, d3 / 6.0]
}

fn value([c0, c1, c2, c3]: &Cubic, tau: f64) -> f64 {
    c0 + tau * (c1 + tau * (c2 + tau * c3))
}

/// From -180 to 180 to 0 to 360, without the end, which the least angle below 0 rounds to.
fn within_turn(deg: f64) -> f64 {
    let turned = deg + 360.0;
    if deg < 0.0 && turned < 360.0 {
        turned
    } else {
        deg.max(0.0)
    }
}
