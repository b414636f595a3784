//! The sky against other people's numbers: a published example, and tables computed with pvlib.
//! Source: the `.source.toml` beside each table; `recompute_with_pvlib.py` computes them again.

#[path = "sky/incidence.rs"]
mod incidence;
#[path = "sky/light.rs"]
mod light;
#[path = "sky/models.rs"]
mod models;
#[path = "sky/sun.rs"]
mod sun;
#[path = "sky/transposition.rs"]
mod transposition;
#[path = "sky/year.rs"]
mod year;

use analysis::plant::{Mounting, Plane};
use analysis::reading::{Angle, Irradiance, Span, Time};
use analysis::sky::{Components, SunPosition};
use tests::{assert_close, relative};

/// Both sides compute the same closed form in doubles and the files carry 12 digits; what is left
/// is the rounding of printed inputs, which a difference of near numbers enlarges tens of times.
const CLOSED_FORM: f64 = 1e-10;
/// Sidereal time has turned by 3e6 deg since 2000, of which a double keeps 5e-10 deg. (The Julian
/// day itself keeps 40 us, 2e-7 deg of turning, but both codes round it alike.)
const SPA_DEG: f64 = 1e-9;

fn deg(value: f64) -> Angle {
    Angle::from_deg(value)
}

fn w_m2(value: f64) -> Irradiance {
    Irradiance::from_w_m2(value)
}

/// Noon, UTC, on this day of 2025.
fn noon(day_of_year: i64) -> Time {
    const NEW_YEAR_2025: Time = Time::from_unix_ms(1_735_689_600_000);
    NEW_YEAR_2025 + Span::from_h(24 * (day_of_year - 1) + 12)
}

fn plane(tilt_deg: f64, azimuth_deg: f64) -> Plane {
    Plane {
        id: "p".to_owned(),
        tilt: deg(tilt_deg),
        azimuth: deg(azimuth_deg),
        mounting: Mounting::OPEN_RACK,
        albedo_ratio: 0.2,
        horizon: None,
    }
}

fn sun_at(zenith_deg: f64, azimuth_deg: f64) -> SunPosition {
    SunPosition {
        apparent_zenith: deg(zenith_deg),
        zenith: deg(zenith_deg),
        azimuth: deg(azimuth_deg),
    }
}

fn assert_components(
    got: &Components,
    wanted: [f64; 3],
    ratio: f64,
    label: impl std::fmt::Display,
) {
    let [ghi, dni, dhi] = wanted;
    assert_close!(
        got.ghi.w_m2(),
        ghi,
        relative(ratio, ghi),
        format!("{label} ghi")
    );
    assert_close!(
        got.dni.w_m2(),
        dni,
        relative(ratio, dni),
        format!("{label} dni")
    );
    assert_close!(
        got.dhi.w_m2(),
        dhi,
        relative(ratio, dhi),
        format!("{label} dhi")
    );
}
