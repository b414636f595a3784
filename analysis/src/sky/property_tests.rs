//! What must hold under any sky: bounds, closure, and that a plane that lies flat sees what falls
//! on the ground.

use super::*;
use crate::plant::{Mounting, Plane};
use crate::reading::{Angle, Irradiance, Time};
use proptest::prelude::*;

/// Sums and products of a few doubles of this size [W/m2].
const ROUNDING_W_M2: f64 = 1e-9;
/// 2000-01-01 and 2060-01-01 [ms].
const YEARS_MS: std::ops::Range<i64> = 946_684_800_000..2_840_140_800_000;

fn plane(tilt_deg: f64, azimuth_deg: f64) -> Plane {
    Plane {
        id: "p".to_owned(),
        tilt: Angle::from_deg(tilt_deg),
        azimuth: Angle::from_deg(azimuth_deg),
        mounting: Mounting::OPEN_RACK,
        albedo_ratio: 0.2,
        horizon: None,
    }
}

fn places() -> impl Strategy<Value = Observer> {
    (-65.0..65.0, -180.0..180.0, 0.0..3000.0).prop_map(|(latitude, longitude, altitude_m)| {
        let (latitude, longitude) = (Angle::from_deg(latitude), Angle::from_deg(longitude));
        Observer::new(latitude, longitude, altitude_m)
    })
}

fn times() -> impl Strategy<Value = Time> {
    YEARS_MS.prop_map(Time::from_unix_ms)
}

fn planes() -> impl Strategy<Value = Plane> {
    (0.0..90.0, 0.0..360.0).prop_map(|(tilt, azimuth)| plane(tilt, azimuth))
}

fn suns() -> impl Strategy<Value = SunPosition> {
    (0.0..120.0, 0.0..360.0).prop_map(|(zenith, azimuth)| SunPosition {
        apparent_zenith: Angle::from_deg(zenith),
        zenith: Angle::from_deg(zenith),
        azimuth: Angle::from_deg(azimuth),
    })
}

fn w_m2(value: f64) -> Irradiance {
    Irradiance::from_w_m2(value)
}

/// Nothing negative, and beam and diffuse make up the global irradiance.
fn closes(parts: &Components, sun: &SunPosition) -> bool {
    let (ghi, dni, dhi) = (parts.ghi.w_m2(), parts.dni.w_m2(), parts.dhi.w_m2());
    let sum = dni * sun.apparent_zenith.rad().cos() + dhi;
    ghi >= 0.0 && dni >= 0.0 && dhi >= 0.0 && (sum - ghi).abs() <= ROUNDING_W_M2
}

fn global(ghi: f64, at: Time, sun: &SunPosition) -> Global {
    Global {
        ghi: w_m2(ghi),
        at,
        zenith: sun.zenith,
        pressure_pa: 101_325.0,
    }
}

/// How far apart two positions are: in zenith with and without air, and along the horizon's circle.
fn apart_deg(a: &SunPosition, b: &SunPosition) -> f64 {
    let turned = (a.azimuth.deg() - b.azimuth.deg() + 180.0).rem_euclid(360.0) - 180.0;
    let along = turned * a.zenith.rad().sin();
    let down = a.zenith.deg() - b.zenith.deg();
    let down_seen = a.apparent_zenith.deg() - b.apparent_zenith.deg();
    along.abs().max(down.abs()).max(down_seen.abs())
}

/// The interpolation leaves 3e-7 deg; the whole algorithm takes the elevation from a sine, which
/// keeps 1e-6 deg of it overhead.
const TRACK_DEG: f64 = 2e-6;
/// 1950-01-01 and 2050-01-01 [ms].
const CENTURY_MS: std::ops::Range<i64> = -631_152_000_000..2_524_608_000_000;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(20_000))]

    #[test]
    fn a_track_follows_the_whole_algorithm_through_a_century(
        at in CENTURY_MS.prop_map(Time::from_unix_ms), observer in places(),
    ) {
        let (track, whole) = (SunTrack::new(observer).position(at), sun_position(at, &observer));
        prop_assert!(apart_deg(&track, &whole) <= TRACK_DEG, "{track:?} {whole:?}");
    }
}

proptest! {
    #[test]
    fn the_light_of_a_track_is_that_of_its_position(at in times(), observer in places()) {
        // The position keeps a double's 16 digits of 180 deg; overhead the sine of its elevation
        // keeps 2e-8 rad of that.
        const DIRECTION: f64 = 5e-8;
        let mut track = SunTrack::new(observer);
        let whole = Sunlight::new(&track.position(at), track.extraterrestrial(at));
        let light = track.sunlight(at);
        for (a, b) in [
            (light.direction.up, whole.direction.up),
            (light.direction.north, whole.direction.north),
            (light.direction.east, whole.direction.east),
        ] {
            prop_assert!((a - b).abs() <= DIRECTION, "{light:?} {whole:?}");
        }
        let (air, whole_air) = (light.relative_air_mass, whole.relative_air_mass);
        prop_assert_eq!(air.is_some(), whole_air.is_some());
        let apart = air.zip(whole_air).map_or(0.0, |(a, b)| (a / b - 1.0).abs());
        prop_assert!(apart <= DIRECTION, "{light:?} {whole:?}");
    }

    #[test]
    fn a_track_does_not_depend_on_what_was_asked_before(
        times in proptest::collection::vec(times(), 2..6), observer in places(),
    ) {
        let mut track = SunTrack::new(observer);
        for at in times {
            let mut fresh = SunTrack::new(observer);
            prop_assert_eq!(track.position(at), fresh.position(at));
            prop_assert_eq!(track.extraterrestrial(at), extraterrestrial(at));
        }
    }

    #[test]
    fn the_sun_is_somewhere_and_the_air_only_lifts_it(at in times(), observer in places()) {
        let sun = sun_position(at, &observer);
        prop_assert!((0.0..360.0).contains(&sun.azimuth.deg()), "{sun:?}");
        prop_assert!((0.0..=180.0).contains(&sun.zenith.deg()), "{sun:?}");
        // Bennett's refraction turns negative by 1e-4 deg at the zenith itself.
        prop_assert!(sun.apparent_zenith.deg() <= sun.zenith.deg() + 1e-4, "{sun:?}");
        // Standard air: 0.48 deg at true elevation 0, 0.62 at the lowest sun that is still seen.
        prop_assert!(sun.zenith.deg() - sun.apparent_zenith.deg() < 0.65, "{sun:?}");
    }

    #[test]
    fn incidence_is_an_angle_and_a_flat_plane_sees_the_zenith(sun in suns(), plane in planes()) {
        // acos loses half the digits of a double near 0.
        const ACOS_DEG: f64 = 2e-6;
        let seen = incidence(&sun, &plane).deg();
        prop_assert!((0.0..=180.0).contains(&seen), "{seen}");
        let flat = Plane { tilt: Angle::from_deg(0.0), ..plane };
        prop_assert!((incidence(&sun, &flat).deg() - sun.apparent_zenith.deg()).abs() < ACOS_DEG);
    }

    #[test]
    fn a_clear_sky_closes_and_is_dark_without_a_sun(
        at in times(), observer in places(), turbidity in 1.0..8.0,
    ) {
        let sun = sun_position(at, &observer);
        let sky = clear_sky(at, &sun, &observer, turbidity);
        prop_assert!(closes(&sky, &sun), "{sky:?}");
        prop_assert!(sky.ghi <= extraterrestrial(at), "{sky:?}");
        prop_assert_eq!(sky.ghi.w_m2() > 0.0, sun.is_up());
    }

    #[test]
    fn no_clear_sky_is_called_impossible_and_twice_as_much_is(
        at in times(), observer in places(), turbidity in 1.0..8.0,
    ) {
        let sun = sun_position(at, &observer);
        let ghi = clear_sky(at, &sun, &observer, turbidity).ghi;
        prop_assert!(is_possible_ghi(ghi, sun.apparent_zenith), "{ghi:?} {sun:?}");
        let too_much = 2.0 * haurwitz(sun.apparent_zenith).w_m2() + 61.0;
        prop_assert!(!is_possible_ghi(w_m2(too_much), sun.apparent_zenith));
        prop_assert!(!is_possible_ghi(w_m2(-21.0), sun.apparent_zenith));
        prop_assert!(!is_possible_ghi(w_m2(f64::NAN), sun.apparent_zenith));
    }

    #[test]
    fn every_sky_is_dim_where_there_is_no_light_and_even_under_a_sun_that_is_down(
        at in times(), sun in suns(), plane in planes(), ghi in 0.0..1400.0,
    ) {
        let (parts, e0) = (erbs(w_m2(ghi), at, &sun), extraterrestrial(at));
        let even = SkyModel::Isotropic.diffuse(&parts, e0, &sun, &plane);
        for model in [SkyModel::HayDavies, SkyModel::Reindl, SkyModel::Perez] {
            let sky = model.diffuse(&parts, e0, &sun, &plane);
            prop_assert!(sky.w_m2() >= 0.0, "{model:?} {sky:?}");
            if !sun.is_up() {
                prop_assert!((sky.w_m2() - even.w_m2()).abs() <= ROUNDING_W_M2, "{model:?}");
            }
        }
    }

    #[test]
    fn every_decomposition_closes(
        at in times(), sun in suns(), ghi in -20.0..1500.0, other in -20.0..1500.0,
    ) {
        for parts in [
            erbs(w_m2(ghi), at, &sun),
            close_with_dhi(w_m2(ghi), w_m2(other), &sun),
            close_with_dni(w_m2(ghi), w_m2(other), &sun),
            disc(&global(ghi, at, &sun)),
            dirint(&global(ghi, at, &sun), [Some(&global(other, at, &sun)), None], None),
        ] {
            prop_assert!(closes(&parts, &sun), "{parts:?}");
            prop_assert_eq!(parts.ghi.w_m2(), ghi.max(0.0));
            if sun.zenith.deg() > 87.0 {
                prop_assert_eq!(parts.dni.w_m2(), 0.0);
            }
        }
    }

    #[test]
    fn no_part_of_the_light_in_a_plane_is_negative(
        at in times(), sun in suns(), plane in planes(), ghi in 0.0..1400.0,
    ) {
        let light = plane_irradiance(&erbs(w_m2(ghi), at, &sun), at, &sun, &plane);
        for part in [light.beam, light.sky_diffuse, light.ground] {
            prop_assert!(part.w_m2() >= 0.0, "{light:?}");
        }
    }

    #[test]
    fn a_flat_plane_gets_the_global_irradiance(
        at in times(), sun in suns(), azimuth in 0.0..360.0, ghi in 0.0..1400.0,
    ) {
        // Between 85 deg and the horizon the model holds the bright ring at its size of 85 deg.
        prop_assume!(!(85.0..90.0).contains(&sun.zenith.deg()));
        let light = plane_irradiance(&erbs(w_m2(ghi), at, &sun), at, &sun, &plane(0.0, azimuth));
        prop_assert!((light.total().w_m2() - ghi).abs() <= ROUNDING_W_M2, "{light:?}");
    }

    #[test]
    fn the_parts_of_a_measured_plane_irradiance_add_up_to_it(
        at in times(), sun in suns(), plane in planes(), poa in -20.0..1500.0,
    ) {
        let light = split_plane_irradiance(w_m2(poa), at, &sun, &plane);
        prop_assert!((light.total().w_m2() - poa.max(0.0)).abs() <= ROUNDING_W_M2);
        prop_assert!(light.beam.w_m2() >= 0.0 && light.sky_diffuse.w_m2() >= 0.0);
        prop_assert_eq!(light.ground.w_m2(), 0.0);
        let facing = incidence(&sun, &plane).rad().cos().max(0.0);
        let most = extraterrestrial(at).w_m2() * facing + ROUNDING_W_M2;
        prop_assert!(light.beam.w_m2() <= most, "{light:?}");
    }
}
