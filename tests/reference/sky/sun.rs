//! Sun position: the published example with every step of it, and noon in the south.

use super::{SPA_DEG, deg, plane};
use analysis::reading::{Span, Temperature, Time};
use analysis::sky::{
    Geocentric, Observer, Topocentric, geocentric, incidence, sun_position, topocentric,
};
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

/// Half a unit of the 15th digit, with which the steps of the example are printed.
const FIFTEEN_DIGITS: f64 = 5e-15;

#[derive(Deserialize)]
struct Quantity {
    quantity: String,
    value: f64,
    /// Only where it was printed with few digits.
    tolerance: Option<f64>,
}

/// 2003-10-17 12:30:30, UTC-7.
const EXAMPLE_TIME: Time = Time::from_unix_ms(1_066_419_030_000);

fn example_observer() -> Observer {
    Observer::new(deg(39.742_476), deg(-105.1786), 1830.14)
        .with_air(82_000.0, Temperature::from_degc(11.0))
        .with_delta_t_s(67.0)
}

/// Every step of the example by the name it has in the tables.
fn example_step(name: &str) -> f64 {
    let observer = example_observer();
    let sun = geocentric(EXAMPLE_TIME, observer.delta_t_s(EXAMPLE_TIME));
    let seen = topocentric(&sun, &observer);
    geocentric_step(&sun, name)
        .or_else(|| topocentric_step(&seen, name))
        .or_else(|| end_result(name))
        .unwrap_or_else(|| panic!("no step is called {name}"))
}

fn geocentric_step(sun: &Geocentric, name: &str) -> Option<f64> {
    Some(match name {
        "JD" => sun.julian_day,
        "JDE" => sun.ephemeris_day,
        "JC" => sun.century,
        "JCE" => sun.ephemeris_century,
        "JME" => sun.ephemeris_millennium,
        "L_deg" => sun.heliocentric_longitude_deg,
        "B_deg" => sun.heliocentric_latitude_deg,
        "R_AU" => sun.radius_au,
        "Theta_deg" => sun.longitude_deg,
        "beta_deg" => sun.latitude_deg,
        "X0_deg" => sun.nutation_arguments_deg[0],
        "X1_deg" => sun.nutation_arguments_deg[1],
        "X2_deg" => sun.nutation_arguments_deg[2],
        "X3_deg" => sun.nutation_arguments_deg[3],
        "X4_deg" => sun.nutation_arguments_deg[4],
        "dPsi_deg" => sun.nutation_longitude_deg,
        "dEps_deg" => sun.nutation_obliquity_deg,
        "eps0_arcsec" => sun.mean_obliquity_arcsec,
        "eps_deg" => sun.obliquity_deg,
        "dTau_deg" => sun.aberration_deg,
        "lambda_deg" => sun.apparent_longitude_deg,
        "nu0_deg" => sun.mean_sidereal_deg,
        "nu_deg" => sun.sidereal_deg,
        "alpha_deg" => sun.right_ascension_deg,
        "delta_deg" => sun.declination_deg,
        "M_deg" => sun.mean_longitude_deg,
        "EoT_min" => sun.equation_of_time_min,
        _ => return None,
    })
}

fn topocentric_step(seen: &Topocentric, name: &str) -> Option<f64> {
    Some(match name {
        "H_deg" => seen.hour_angle_deg,
        "xi_deg" => seen.parallax_deg,
        "dAlpha_deg" => seen.right_ascension_shift_deg,
        "alphaPrime_deg" => seen.right_ascension_deg,
        "deltaPrime_deg" => seen.declination_deg,
        "HPrime_deg" => seen.shifted_hour_angle_deg,
        "e0_deg" => seen.true_elevation_deg,
        "dE_deg" => seen.refraction_deg,
        "e_deg" => seen.elevation_deg,
        "Gamma_deg" => seen.azimuth_from_south_deg,
        _ => return None,
    })
}

/// What comes out at the front door; the slope of the example faces 10 deg east of south.
fn end_result(name: &str) -> Option<f64> {
    let sun = sun_position(EXAMPLE_TIME, &example_observer());
    Some(match name {
        "zenith_deg" => sun.apparent_zenith.deg(),
        "azimuth_deg" => sun.azimuth.deg(),
        "incidence_deg" => incidence(&sun, &plane(30.0, 170.0)).deg(),
        _ => return None,
    })
}

#[test]
fn sun_position_matches_the_published_example() {
    for row in load_reference::<Quantity>("spa_published_example.csv", 17) {
        let tolerance = row
            .tolerance
            .expect("each printed number has its last digit");
        assert_close!(
            example_step(&row.quantity),
            row.value,
            tolerance,
            row.quantity
        );
    }
}

#[test]
fn every_step_of_the_example_matches_another_code() {
    for row in load_reference::<Quantity>("spa_nrel_example.csv", 40) {
        let tolerance = relative(FIFTEEN_DIGITS, row.value).max(SPA_DEG);
        assert_close!(
            example_step(&row.quantity),
            row.value,
            tolerance,
            row.quantity
        );
    }
}

/// Source: geometry. South of the tropic the sun passes noon in the north, from east to west.
#[test]
fn azimuth_wraps_once_at_noon_in_the_south_and_incidence_does_not_jump() {
    // The sun turns 0.25 deg a minute; in azimuth, over the sine of its zenith of 12 deg, 1.2.
    const FASTEST_DEG_PER_MINUTE: f64 = 0.25;
    const FASTEST_AZIMUTH_DEG_PER_MINUTE: f64 = 1.5;
    let observer = Observer::new(deg(-35.0), deg(147.5), 200.0);
    let north = plane(20.0, 0.0);
    let start = Time::from_unix_ms(1_735_779_600_000); // 2025-01-02T01:00Z, an hour before noon
    let minutes: Vec<_> = (0..120)
        .map(|minute| sun_position(start + Span::from_min(minute), &observer))
        .collect();
    let mut wraps = 0;
    for pair in minutes.windows(2) {
        let change = pair[1].azimuth.deg() - pair[0].azimuth.deg();
        wraps += usize::from(change > 180.0);
        let turned = if change > 180.0 {
            change - 360.0
        } else {
            change
        };
        assert!(
            (-FASTEST_AZIMUTH_DEG_PER_MINUTE..0.0).contains(&turned),
            "{pair:?}"
        );
        let (before, after) = (incidence(&pair[0], &north), incidence(&pair[1], &north));
        assert_close!(
            after.deg(),
            before.deg(),
            FASTEST_DEG_PER_MINUTE,
            "incidence"
        );
    }
    assert_eq!(wraps, 1);
}
