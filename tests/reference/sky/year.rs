//! The whole chain from time to light in a plane, through a year in the south and one in the north.
//! The chain goes on to modules in `array/year.rs`.

use super::{SPA_DEG, assert_components, deg, plane, w_m2};
use analysis::plant::Plane;
use analysis::reading::Time;
use analysis::sky::{
    ClearAir, Components, Dome, Facing, Observer, SunPosition, SunTrack, clear_sky, erbs,
    extraterrestrial, incidence, plane_irradiance, sun_position,
};
use serde::Deserialize;
use std::collections::BTreeSet;
use tests::{assert_close, load_reference, relative};

/// Half a unit of the tenth digit that is stored, and as much again for a sun that grazes the
/// plane, where a cosine enlarges the last digits of its position.
const WHOLE_CHAIN: f64 = 1e-9;

#[derive(Deserialize)]
struct Row {
    at_utc: String,
    at_utc_ms: i64,
    linke_turbidity: f64,
    /// Global over that of a clear sky: the weather.
    cloud_ratio: f64,
    zenith_deg: f64,
    apparent_zenith_deg: f64,
    sun_azimuth_deg: f64,
    e0_w_m2: f64,
    clear_ghi_w_m2: f64,
    clear_dni_w_m2: f64,
    clear_dhi_w_m2: f64,
    /// In the plane, all of it.
    clear_poa_w_m2: f64,
    ghi_w_m2: f64,
    dni_w_m2: f64,
    dhi_w_m2: f64,
    incidence_deg: f64,
    beam_w_m2: f64,
    sky_w_m2: f64,
    ground_w_m2: f64,
}

impl Row {
    fn at(&self) -> Time {
        Time::from_unix_ms(self.at_utc_ms)
    }
}

/// A year of a place and a plane there.
struct Year {
    observer: Observer,
    plane: Plane,
    rows: Vec<Row>,
}

fn years() -> [Year; 2] {
    let year = |table, place: [f64; 3], plane: Plane| {
        let [latitude, longitude, altitude_m] = place;
        Year {
            observer: Observer::new(deg(latitude), deg(longitude), altitude_m),
            plane,
            rows: load_reference(table, 1400),
        }
    };
    [
        year("site_year.csv", [-35.0, 147.5, 200.0], plane(20.0, 0.0)),
        year(
            "site_year_north.csv",
            [50.0, 10.0, 300.0],
            plane(35.0, 180.0),
        ),
    ]
}

#[test]
fn sun_position_matches_another_code_through_a_year_south_and_north() {
    for Year {
        observer,
        plane,
        rows,
    } in years()
    {
        for row in rows {
            let sun = sun_position(row.at(), &observer);
            assert_sun(&sun, &row, SPA_DEG);
            let incidence = incidence(&sun, &plane);
            assert_close!(incidence.deg(), row.incidence_deg, SPA_DEG, row.at_utc);
        }
    }
}

#[test]
fn the_interpolated_sun_matches_another_code_through_a_year_south_and_north() {
    /// Five times what it promises. (No sun here is so near the zenith that an azimuth is unsure.)
    const INTERPOLATED_DEG: f64 = 1e-5;
    for Year { observer, rows, .. } in years() {
        let mut track = SunTrack::new(observer);
        for row in rows {
            assert_sun(&track.position(row.at()), &row, INTERPOLATED_DEG);
        }
    }
}

fn assert_sun(sun: &SunPosition, row: &Row, tolerance_deg: f64) {
    for (name, computed, wanted) in [
        ("zenith", sun.zenith, row.zenith_deg),
        (
            "apparent zenith",
            sun.apparent_zenith,
            row.apparent_zenith_deg,
        ),
        ("azimuth", sun.azimuth, row.sun_azimuth_deg),
    ] {
        let label = format!("{} {name}", row.at_utc);
        assert_close!(computed.deg(), wanted, tolerance_deg, label);
    }
}

/// Nothing but the time and the weather comes from the table: errors would add up.
#[test]
fn light_matches_another_code_through_a_year_south_and_north() {
    for Year {
        observer,
        plane,
        rows,
    } in years()
    {
        for row in rows {
            let (at, label) = (row.at(), &row.at_utc);
            let sun = sun_position(at, &observer);
            let e0 = extraterrestrial(at).w_m2();
            assert_close!(e0, row.e0_w_m2, relative(WHOLE_CHAIN, row.e0_w_m2), label);
            let clear = clear_sky(at, &sun, &observer, row.linke_turbidity);
            let wanted = [row.clear_ghi_w_m2, row.clear_dni_w_m2, row.clear_dhi_w_m2];
            assert_components(&clear, wanted, WHOLE_CHAIN, format!("{label} clear"));
            let clear_poa = plane_irradiance(&clear, at, &sun, &plane).total();
            let tolerance = relative(WHOLE_CHAIN, row.clear_poa_w_m2);
            assert_close!(clear_poa.w_m2(), row.clear_poa_w_m2, tolerance, label);
            let parts = erbs(w_m2(row.cloud_ratio * clear.ghi.w_m2()), at, &sun);
            let wanted = [row.ghi_w_m2, row.dni_w_m2, row.dhi_w_m2];
            assert_components(&parts, wanted, WHOLE_CHAIN, label);
            assert_plane(&parts, &sun, &plane, &row);
        }
    }
}

fn assert_plane(parts: &Components, sun: &SunPosition, plane: &Plane, row: &Row) {
    let light = plane_irradiance(parts, row.at(), sun, plane);
    let total_w_m2 = row.beam_w_m2 + row.sky_w_m2 + row.ground_w_m2;
    for (part, computed, wanted) in [
        ("beam", light.beam, row.beam_w_m2),
        ("sky", light.sky_diffuse, row.sky_w_m2),
        ("ground", light.ground, row.ground_w_m2),
        ("total", light.total(), total_w_m2),
    ] {
        let label = format!("{} {part}", row.at_utc);
        assert_close!(
            computed.w_m2(),
            wanted,
            relative(WHOLE_CHAIN, wanted),
            label
        );
    }
}

/// The way of the chain: a direction instead of angles, air and dome at hand.
#[test]
fn light_of_the_interpolated_sun_matches_another_code_through_a_year_south_and_north() {
    /// A beam of 1000 W/m2 times the 2e-6 deg of the sun's place.
    const INTERPOLATED_W_M2: f64 = 4e-5;
    for Year {
        observer,
        plane,
        rows,
    } in years()
    {
        let (mut track, facing) = (SunTrack::new(observer), Facing::of(&plane));
        for row in rows {
            let sun = track.sunlight(row.at());
            let clear = ClearAir::new(&observer, row.linke_turbidity).under(&sun);
            let light = Dome::new(&clear, &sun).on(&facing, plane.albedo_ratio);
            let (total, wanted) = (light.total().w_m2(), row.clear_poa_w_m2);
            assert_close!(total, wanted, INTERPOLATED_W_M2, row.at_utc);
        }
    }
}

/// A year of fair weather would prove little: the tables must meet every branch of the models.
#[test]
fn the_years_go_through_every_kind_of_sky() {
    /// Rows that make a kind more than a single chance.
    const LEAST: usize = 5;
    for Year { rows, .. } in years() {
        let clearness = rows.iter().map(|row| {
            let cos_z = deg(row.zenith_deg).rad().cos();
            row.ghi_w_m2 / (row.e0_w_m2 * cos_z.max(0.065))
        });
        let tenths: Vec<usize> = clearness.map(|kt| (10.0 * kt) as usize).collect();
        for tenth in 0..9 {
            let met = tenths.iter().filter(|&&t| t == tenth).count();
            assert!(met >= LEAST, "clearness of {tenth} tenths: {met} rows");
        }
        // Erbs leaves at least 0.165 of the light diffuse, which ends below the last row.
        assert_eq!(
            perez_rows(&rows, |r| (r.dni_w_m2, r.dhi_w_m2)),
            (0..7).collect()
        );
        let clear = perez_rows(&rows, |r| (r.clear_dni_w_m2, r.clear_dhi_w_m2));
        assert!(clear.contains(&7), "{clear:?}");
        let low = rows.iter().filter(|row| row.zenith_deg > 87.0).count();
        let behind = rows.iter().filter(|row| row.incidence_deg > 90.0).count();
        assert!(
            low >= LEAST && behind >= LEAST,
            "{low} low, {behind} behind"
        );
    }
}

/// Rows of the table of Perez (1990) that beam and diffuse light meet.
fn perez_rows(rows: &[Row], dni_and_dhi: impl Fn(&Row) -> (f64, f64)) -> BTreeSet<usize> {
    const CLEARNESS_UP_TO: [f64; 7] = [1.065, 1.23, 1.5, 1.95, 2.8, 4.5, 6.2];
    let row_of = |row: &Row| {
        let z3 = 1.041 * deg(row.apparent_zenith_deg).rad().powi(3);
        let (dni, dhi) = dni_and_dhi(row);
        let clearness = ((dhi + dni) / dhi + z3) / (1.0 + z3);
        let ends = CLEARNESS_UP_TO.iter();
        ends.filter(|&&end| end <= clearness).count()
    };
    rows.iter().map(row_of).collect()
}
