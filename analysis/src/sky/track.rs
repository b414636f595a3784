//! The sun's direction at many times near each other: the slow part once a day, the rest each time.
//!
//! Model:   cos delta, sin delta, sin xi and d = nu - alpha - 360 tau are smooth; through their
//!          values at 0 h UTC of the day before, the day and the two after it goes a cubic, for
//!          the day.  H = d + 360 tau + sigma.  Equator to horizon, with parallax, as a vector:
//!          a = cos delta cos H - x sin xi, b = cos delta sin H, c = sin delta - y sin xi;
//!          up = c sin phi + a cos phi, north = c cos phi - a sin phi, east = -b
//! Symbols: tau  part of the day that has passed [-]    d  the equation of time about 180 [deg]
//!          others as in `geocentric` and `topocentric`
//! Range:   as in `geocentric`. The cubics of a day come from nothing but the day and its Delta T:
//!          a position does not depend on what was asked before.
//! Source:  values at 0 h from `geocentric`; the vector is the step from H, delta to H', delta' of
//!          the algorithm without its angles; interpolation between four points, Lagrange.
//!          Its error is at most 0.0235 h^4 |f''''|, 3e-7 deg for h = 1 d: in longitude the moon's
//!          6.4 arcsec in 29.5 d and in right ascension 2.5 deg in half a year make 1e-5 deg/d4.
//! Check:   `property_tests`, against the whole algorithm, 1950 to 2050.

use super::extraterrestrial::extraterrestrial;
use super::geocentric::geocentric;
use super::observer::Observer;
use super::sun::SunPosition;
use super::topocentric::{Place, parallax_deg, refraction_deg};
use crate::reading::{Angle, Irradiance, Span, Time};

const DAY_MS: i64 = 86_400_000;

/// The sun as one observer sees it, for times that follow each other: a day costs four times
/// [`sun_position`](super::sun_position), a time in the day after that a few sines.
#[derive(Debug, Clone)]
pub struct SunTrack {
    observer: Observer,
    place: Place,
    day: Day,
}

/// What holds for one day in UTC.
#[derive(Debug, Clone, Copy)]
struct Day {
    number: i64,
    clock_to_sun_deg: Cubic,
    cos_declination: Cubic,
    sin_declination: Cubic,
    sin_parallax: Cubic,
    extraterrestrial: Irradiance,
}

/// Coefficients from the constant upwards, over the part of the day.
type Cubic = [f64; 4];

impl SunTrack {
    /// The track of an observer's sun.
    pub fn new(observer: Observer) -> Self {
        Self {
            place: Place::of(&observer),
            // Any day will do: another one is computed when it is asked for.
            day: Day::new(0, observer.delta_t_s(Time::from_unix_ms(0))),
            observer,
        }
    }

    /// Where the sun stands; the full algorithm to 1e-6 deg.
    pub fn position(&mut self, at: Time) -> SunPosition {
        self.move_to(at);
        let day = &self.day;
        let tau = at.unix_ms().rem_euclid(DAY_MS) as f64 / DAY_MS as f64;
        let h = value(&day.clock_to_sun_deg, tau) + 360.0 * tau + self.observer.longitude.deg();
        let (sin_h, cos_h) = h.to_radians().sin_cos();
        let cos_delta = value(&day.cos_declination, tau);
        let sin_delta = value(&day.sin_declination, tau);
        let sin_xi = value(&day.sin_parallax, tau);
        let Place {
            sin_phi,
            cos_phi,
            x,
            y,
        } = self.place;
        let (a, c) = (cos_delta * cos_h - x * sin_xi, sin_delta - y * sin_xi);
        let up = c * sin_phi + a * cos_phi;
        let (north, east) = (c * cos_phi - a * sin_phi, -cos_delta * sin_h);
        let e0 = up.atan2((north * north + east * east).sqrt()).to_degrees();
        let azimuth = east.atan2(north).to_degrees();
        SunPosition {
            apparent_zenith: Angle::from_deg(90.0 - e0 - refraction_deg(e0, &self.observer)),
            zenith: Angle::from_deg(90.0 - e0),
            azimuth: Angle::from_deg(within_turn(azimuth)),
        }
    }

    /// Irradiance facing the sun outside the atmosphere on this day.
    pub fn extraterrestrial(&mut self, at: Time) -> Irradiance {
        self.move_to(at);
        self.day.extraterrestrial
    }

    fn move_to(&mut self, at: Time) {
        let number = at.unix_ms().div_euclid(DAY_MS);
        if self.day.number != number {
            // Delta T steps at 0 h: a day has one.
            self.day = Day::new(number, self.observer.delta_t_s(at));
        }
    }
}

impl Day {
    fn new(number: i64, delta_t_s: f64) -> Self {
        let start = Time::from_unix_ms(number * DAY_MS);
        let knots =
            [-1, 0, 1, 2].map(|days| geocentric(start + Span::from_h(24 * days), delta_t_s));
        let radians = |k: usize| knots[k].declination_deg.to_radians();
        let cubic = |at_knot: &dyn Fn(usize) -> f64| through([0, 1, 2, 3].map(at_knot));
        Self {
            number,
            // The sun crosses the meridian of Greenwich at 12 h, so this is near 180 and no wrap.
            clock_to_sun_deg: cubic(&|k| {
                (knots[k].sidereal_deg - knots[k].right_ascension_deg).rem_euclid(360.0)
            }),
            cos_declination: cubic(&|k| radians(k).cos()),
            sin_declination: cubic(&|k| radians(k).sin()),
            sin_parallax: cubic(&|k| parallax_deg(knots[k].radius_au).to_radians().sin()),
            extraterrestrial: extraterrestrial(start),
        }
    }
}

/// The cubic through values at -1, 0, 1 and 2.
fn through([before, start, end, after]: [f64; 4]) -> Cubic {
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
