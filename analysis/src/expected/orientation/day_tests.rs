//! What one day says when it is exact, and what it refuses to say.
//! Kind of truth: property.

use super::receiver::Lean;
use super::worlds::{Dice, Given, Light, Seen, World, plane};
use super::*;
use crate::reading::{Angle, Irradiance, Span};
use crate::sky::{Dome, Observer};
use proptest::prelude::*;

/// The middle of June and of December, and the equinox.
const JUNE: i64 = 170;
const DECEMBER: i64 = 350;
const EQUINOX: i64 = 80;

fn quiet(latitude_deg: f64, truth: crate::plant::Plane) -> World {
    World {
        observer: Observer::new(Angle::from_deg(latitude_deg), Angle::from_deg(11.0), 300.0),
        stated: plane(truth.tilt.deg() + 6.0, truth.azimuth.deg() - 7.0),
        truth,
        gain: 1.0,
        noise_ratio: 0.0,
        slot: Span::from_min(5),
        turbidity: 3.0,
        turbidity_error: 0.0,
        stamp_error: Span::ZERO,
        spectral_ratio: 0.0,
        diffuse_ratio: 0.0,
    }
}

fn fit() -> OrientationFit {
    OrientationFit::new(Receiver::new(ReceiverKind::FlatGlass))
}

/// A plane's response without any noise at all.
fn exact(world: &World, day: i64) -> Vec<OrientationSample> {
    let mut samples = world.clear_day(day, Given::Measured, &mut Dice::new(7));
    let truth = Seen::new(&world.truth);
    for sample in &mut samples {
        let effective = truth.effective_w_m2(&Light {
            dome: Dome::new(&sample.components, &sample.sunlight),
            sunlight: sample.sunlight,
            components: sample.components,
            albedo_ratio: world.truth.albedo_ratio,
            diffuse_ratio: 0.0,
        });
        sample.response_ratio = world.gain * effective / 1000.0;
    }
    samples
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// What is left is the table of modifiers, linear between its tilts.
    #[test]
    fn an_exact_day_gives_the_orientation_and_the_gain_back(
        latitude in 30.0..55.0_f64,
        tilt in 20.0..45.0_f64,
        azimuth in 150.0..210.0_f64,
        gain in 0.8..1.2_f64,
    ) {
        const TABLE_DEG: f64 = 0.15;
        const TABLE_RATIO: f64 = 0.003;
        let world = World { gain, ..quiet(latitude, plane(tilt, azimuth)) };
        let found = fit().day(&world.stated, &exact(&world, JUNE)).expect("a clear day");
        prop_assert!((found.tilt.deg() - tilt).abs() < TABLE_DEG, "{found:?}");
        prop_assert!((found.azimuth.deg() - azimuth).abs() < TABLE_DEG, "{found:?}");
        prop_assert!((found.gain / gain - 1.0).abs() < TABLE_RATIO, "{found:?}");
    }

    /// The gain is free: soiling changes nothing but itself.
    #[test]
    fn the_orientation_does_not_hang_on_the_gain(factor in 0.8..1.2_f64) {
        const ROUNDING_DEG: f64 = 0.01;
        let world = World { noise_ratio: 0.01, ..quiet(48.0, plane(30.0, 170.0)) };
        let samples = world.clear_day(JUNE, Given::ClearSky, &mut Dice::new(3));
        let scaled: Vec<OrientationSample> = samples
            .iter()
            .map(|s| OrientationSample { response_ratio: s.response_ratio * factor, ..*s })
            .collect();
        let fit = fit();
        let one = fit.day(&world.stated, &samples).expect("a clear day");
        let other = fit.day(&world.stated, &scaled).expect("as clear");
        prop_assert!((one.tilt.deg() - other.tilt.deg()).abs() < ROUNDING_DEG);
        prop_assert!((one.azimuth.deg() - other.azimuth.deg()).abs() < ROUNDING_DEG);
        prop_assert!((other.gain / one.gain / factor - 1.0).abs() < 1e-4);
    }
}

#[test]
fn a_southern_plane_and_one_that_looks_north_of_it_wrap_at_the_turn() {
    let world = quiet(-35.0, plane(25.0, 2.0));
    assert_eq!(world.stated.azimuth.deg(), 355.0);
    let found = fit().day(&world.stated, &exact(&world, DECEMBER));
    let found = found.expect("a clear day");
    assert!((found.azimuth.deg() - 2.0).abs() < 0.3, "{found:?}");
}

#[test]
fn an_hour_of_cloud_is_left_out() {
    let world = quiet(48.0, plane(30.0, 170.0));
    let mut samples = exact(&world, JUNE);
    let middle = samples.len() / 2 + 8;
    for sample in &mut samples[middle..middle + 12] {
        sample.response_ratio *= 0.4;
    }
    let found = fit().day(&world.stated, &samples).expect("clear enough");
    assert!((found.tilt.deg() - 30.0).abs() < 0.3, "{found:?}");
    assert!((found.azimuth.deg() - 170.0).abs() < 0.3, "{found:?}");
}

#[test]
fn at_an_equinox_tilt_and_gain_are_one() {
    let world = World {
        noise_ratio: 0.01,
        ..quiet(48.0, plane(35.0, 180.0))
    };
    let samples = world.clear_day(EQUINOX, Given::Measured, &mut Dice::new(1));
    let refused = fit().day(&world.stated, &samples);
    let Err(OrientationRefusal::NotDetermined { sigma_tilt_deg, .. }) = refused else {
        panic!("{refused:?}");
    };
    assert!(sigma_tilt_deg > 5.0);
}

#[test]
fn further_off_than_an_installer_errs_is_reported_and_not_clamped() {
    let world = quiet(48.0, plane(30.0, 170.0));
    let stated = plane(30.0, 150.0);
    let refused = fit().day(&stated, &exact(&world, JUNE));
    let Err(OrientationRefusal::OutsideBounds {
        azimuth_deg,
        tilt_deg,
        ..
    }) = refused
    else {
        panic!("{refused:?}");
    };
    assert!((azimuth_deg - 170.0).abs() < 0.3 && (tilt_deg - 30.0).abs() < 0.3);
}

#[test]
fn a_few_samples_or_a_short_arc_say_nothing() {
    let world = quiet(48.0, plane(30.0, 170.0));
    let samples = exact(&world, JUNE);
    let noon = samples.len() / 2;
    let few = fit().day(&world.stated, &samples[noon - 5..noon + 5]);
    assert!(
        matches!(
            few,
            Err(OrientationRefusal::TooFewSamples { found: 10, .. })
        ),
        "{few:?}"
    );
    let short = fit().day(&world.stated, &samples[noon + 30..noon + 47]);
    let Err(OrientationRefusal::ShortArc { arc_deg, .. }) = short else {
        panic!("{short:?}");
    };
    assert!(arc_deg > 15.0 && arc_deg < 40.0);
    let none = fit().day(&world.stated, &[]);
    assert!(matches!(
        none,
        Err(OrientationRefusal::TooFewSamples { found: 0, .. })
    ));
}

fn refused_as(day: &[OrientationSample], world: &World) -> NotClear {
    match fit().day(&world.stated, day) {
        Err(OrientationRefusal::NotClear(why)) => why,
        other => panic!("{other:?}"),
    }
}

#[test]
fn cumulus_is_restless_and_an_overcast_day_off_level_or_clouded() {
    let world = quiet(48.0, plane(30.0, 170.0));
    let mut dice = Dice::new(11);
    let mut cumulus = exact(&world, JUNE);
    for sample in &mut cumulus {
        sample.response_ratio *= if dice.chance(0.4) {
            dice.uniform(0.3, 0.7)
        } else {
            1.05
        };
    }
    assert!(matches!(
        refused_as(&cumulus, &world),
        NotClear::Restless { .. }
    ));
    // Light from everywhere, against a clear sky: a quarter of it all day.
    let mut overcast = exact(&world, JUNE);
    for sample in &mut overcast {
        sample.response_ratio = 0.25 * sample.components.ghi.w_m2() / 1000.0;
    }
    assert!(matches!(
        refused_as(&overcast, &world),
        NotClear::OffLevel { .. }
    ));
    for sample in &mut overcast {
        sample.components.dni = Irradiance::from_w_m2(20.0);
        sample.components.ghi = Irradiance::from_w_m2(sample.components.ghi.w_m2() * 0.25);
        sample.components.dhi = sample.components.ghi;
    }
    assert!(matches!(
        refused_as(&overcast, &world),
        NotClear::Clouded { .. }
    ));
}

/// Two planes on one input, whichever way they are joined, are no plane near the stated one.
#[test]
fn two_wings_on_one_input_are_not_taken_for_a_plane() {
    let fit = fit();
    let mut dice = Dice::new(13);
    let joins: [fn(f64, f64) -> f64; 2] = [|a, b| (a + b) / 2.0, f64::min];
    for tilt in [15.0, 25.0, 35.0, 45.0] {
        for (wings, day) in [
            ([90.0, 270.0], JUNE),
            ([135.0, 225.0], JUNE),
            ([120.0, 240.0], 120),
        ] {
            for (i, join) in joins.into_iter().enumerate() {
                let [east, west] = wings.map(|azimuth| Seen::new(&plane(tilt, azimuth)));
                let mut world = quiet(48.0, plane(tilt, wings[0]));
                world.stated = plane(tilt, wings[0]);
                world.noise_ratio = 0.01;
                let both =
                    |light: &Light| join(east.effective_w_m2(light), west.effective_w_m2(light));
                for given in [Given::ClearSky, Given::Measured] {
                    let samples = world.day_of(day, given, &mut dice, both);
                    let said = fit.day(&world.stated, &samples);
                    assert!(said.is_err(), "{tilt} {wings:?} join {i}: {said:?}");
                }
            }
        }
    }
}

#[test]
fn a_response_that_is_no_number_refuses_the_day() {
    let world = quiet(48.0, plane(30.0, 170.0));
    let mut samples = exact(&world, JUNE);
    for sample in &mut samples {
        sample.response_ratio = f64::NAN;
    }
    assert!(matches!(
        refused_as(&samples, &world),
        NotClear::OffLevel { .. }
    ));
}

/// A tilted plane's own map of orientations has no edge where its azimuth has one.
#[test]
fn a_lean_goes_through_the_flat_plane() {
    let a = Lean::of(Angle::from_deg(1.0), Angle::from_deg(0.0));
    let b = Lean::of(Angle::from_deg(1.0), Angle::from_deg(180.0));
    assert!((a.apart_deg(b) - 2.0).abs() < 1e-12);
}
