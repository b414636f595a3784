//! The whole chain from time to light in a plane, through a year in the south.

use super::{SPA_DEG, assert_components, deg, noon, plane, w_m2};
use analysis::reading::Time;
use analysis::sky::{
    Observer, SunPosition, clear_sky, erbs, incidence, plane_irradiance, sun_position,
};
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

/// The year goes through all of the chain, and near a sun that grazes the plane a cosine enlarges
/// the last digits of the sun's position.
const WHOLE_CHAIN: f64 = 1e-8;

#[derive(Deserialize)]
struct YearRow {
    at_utc: String,
    at_utc_ms: i64,
    local_day_of_year: i64,
    linke_turbidity: f64,
    zenith_deg: f64,
    apparent_zenith_deg: f64,
    sun_azimuth_deg: f64,
    clear_ghi_w_m2: f64,
    clear_dni_w_m2: f64,
    clear_dhi_w_m2: f64,
    ghi_w_m2: f64,
    dni_w_m2: f64,
    dhi_w_m2: f64,
    incidence_deg: f64,
    beam_w_m2: f64,
    sky_w_m2: f64,
    ground_w_m2: f64,
}

const YEAR_ROWS: usize = 118;

fn year_observer() -> Observer {
    Observer::new(deg(-35.0), deg(147.5), 200.0).with_delta_t_s(69.2)
}

fn year_sun(row: &YearRow) -> SunPosition {
    sun_position(Time::from_unix_ms(row.at_utc_ms), &year_observer())
}

#[test]
fn sun_position_matches_another_code_through_a_southern_year() {
    for row in load_reference::<YearRow>("site_year.csv", YEAR_ROWS) {
        let (sun, label) = (year_sun(&row), &row.at_utc);
        let incidence = incidence(&sun, &plane(20.0, 0.0));
        assert_close!(sun.zenith.deg(), row.zenith_deg, SPA_DEG, label);
        assert_close!(
            sun.apparent_zenith.deg(),
            row.apparent_zenith_deg,
            SPA_DEG,
            label
        );
        assert_close!(sun.azimuth.deg(), row.sun_azimuth_deg, SPA_DEG, label);
        assert_close!(incidence.deg(), row.incidence_deg, SPA_DEG, label);
    }
}

/// The table takes E0 of the local day of the year, so that day's noon stands for the time there.
#[test]
fn light_matches_another_code_through_a_southern_year() {
    for row in load_reference::<YearRow>("site_year.csv", YEAR_ROWS) {
        let (sun, day, label) = (year_sun(&row), noon(row.local_day_of_year), &row.at_utc);
        let clear = clear_sky(day, &sun, &year_observer(), row.linke_turbidity);
        let wanted = [row.clear_ghi_w_m2, row.clear_dni_w_m2, row.clear_dhi_w_m2];
        assert_components(&clear, wanted, WHOLE_CHAIN, label);
        let parts = erbs(w_m2(row.ghi_w_m2), day, &sun);
        let wanted = [row.ghi_w_m2, row.dni_w_m2, row.dhi_w_m2];
        assert_components(&parts, wanted, WHOLE_CHAIN, label);
        let light = plane_irradiance(&parts, day, &sun, &plane(20.0, 0.0));
        let total_w_m2 = row.beam_w_m2 + row.sky_w_m2 + row.ground_w_m2;
        for (part, got, wanted) in [
            ("beam", light.beam, row.beam_w_m2),
            ("sky", light.sky_diffuse, row.sky_w_m2),
            ("ground", light.ground, row.ground_w_m2),
            ("total", light.total(), total_w_m2),
        ] {
            let tolerance = relative(WHOLE_CHAIN, wanted);
            assert_close!(got.w_m2(), wanted, tolerance, format!("{label} {part}"));
        }
    }
}
