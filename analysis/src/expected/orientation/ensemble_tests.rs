//! How often the truth lies in the stated intervals, and how far off the fits are: over many
//! invented places, seasons and planes, with noise, wrong gains, wrong turbidity and clouds
//! (`worlds`). Kind of truth: property. Run with `--nocapture` for the tables of accuracy by
//! season.

use super::sample::turned_deg;
use super::worlds::{Dice, Given, World, with_a_cloud};
use super::*;
use crate::reading::Time;
use std::collections::BTreeMap;

/// Part of the cases whose truth must lie within 1.96 sigma: 95 % of a normal error, with room for
/// an ensemble of hundreds and for a method that need not be sharper than that.
const COVERAGE: std::ops::RangeInclusive<f64> = 0.90..=0.99;
/// For several days only the lower end holds: what all of them share has a floor, for glass,
/// temperature and reflections that these worlds do not have.
const COVERAGE_OF_DAYS: std::ops::RangeInclusive<f64> = 0.90..=1.0;
const NORMAL_95: f64 = 1.96;

/// Error and sigma of one angle [deg].
#[derive(Debug, Clone, Copy)]
struct Miss {
    error: f64,
    sigma: f64,
}

fn tilt_and_azimuth(world: &World, tilt: f64, azimuth: f64, sigmas: [f64; 2]) -> [Miss; 2] {
    let errors = [
        tilt - world.truth.tilt.deg(),
        turned_deg(world.truth.azimuth.deg(), azimuth),
    ];
    [0, 1].map(|i| Miss {
        error: errors[i],
        sigma: sigmas[i],
    })
}

fn of_day(world: &World, day: &Refined) -> [Miss; 2] {
    let sigmas = [day.sigma_tilt.deg(), day.sigma_azimuth.deg()];
    tilt_and_azimuth(world, day.tilt.deg(), day.azimuth.deg(), sigmas)
}

fn of_days(world: &World, days: &Refinement) -> [Miss; 2] {
    let sigmas = [days.sigma_tilt.deg(), days.sigma_azimuth.deg()];
    tilt_and_azimuth(world, days.tilt.deg(), days.azimuth.deg(), sigmas)
}

fn coverage(misses: &[[Miss; 2]], angle: usize) -> f64 {
    let inside = |m: &&[Miss; 2]| m[angle].error.abs() <= NORMAL_95 * m[angle].sigma;
    misses.iter().filter(inside).count() as f64 / misses.len() as f64
}

fn rms(misses: &[[Miss; 2]], angle: usize) -> f64 {
    let square = |m: &[Miss; 2]| m[angle].error.powi(2);
    (misses.iter().map(square).sum::<f64>() / misses.len() as f64).sqrt()
}

fn assert_covered(
    label: &str,
    misses: &[[Miss; 2]],
    least: usize,
    wanted: std::ops::RangeInclusive<f64>,
) {
    assert!(misses.len() >= least, "{label}: {} cases", misses.len());
    for (angle, name) in ["tilt", "azimuth"].into_iter().enumerate() {
        let covered = coverage(misses, angle);
        assert!(wanted.contains(&covered), "{label}: {name} {covered:.3}");
    }
}

fn print(label: &str, misses: &[[Miss; 2]]) {
    println!(
        "{label}: {} cases, rms tilt {:.2} azimuth {:.2} deg, coverage {:.3} {:.3}",
        misses.len(),
        rms(misses, 0),
        rms(misses, 1),
        coverage(misses, 0),
        coverage(misses, 1)
    );
}

/// Days by how far from the winter solstice the place has come, there and back.
fn season(world: &World, day_of_year: i64) -> &'static str {
    let half_a_year = if world.observer.latitude.deg() > 0.0 {
        0
    } else {
        182
    };
    let since = (day_of_year + 10 + half_a_year).rem_euclid(365);
    match since.min(365 - since) {
        0..=60 => "winter",
        61..=121 => "equinox",
        _ => "summer",
    }
}

fn fit() -> OrientationFit {
    OrientationFit::new(Receiver::new(ReceiverKind::FlatGlass))
}

fn day_of(world: &World, day: i64, given: Given, dice: &mut Dice) -> Vec<OrientationSample> {
    let samples = world.clear_day(day, given, dice);
    if dice.chance(0.4) {
        with_a_cloud(samples, world.slot, dice)
    } else {
        samples
    }
}

fn single_days(given: Given, worlds: usize, seed: u64) -> Vec<[Miss; 2]> {
    let (fit, mut dice) = (fit(), Dice::new(seed));
    let mut all = Vec::new();
    let mut by_season: BTreeMap<&str, Vec<[Miss; 2]>> = BTreeMap::new();
    let mut asked: BTreeMap<&str, usize> = BTreeMap::new();
    for _ in 0..worlds {
        let world = World::anywhere(&mut dice);
        let day = dice.uniform(1.0, 366.0) as i64;
        let samples = day_of(&world, day, given, &mut dice);
        *asked.entry(season(&world, day)).or_default() += 1;
        if let Ok(refined) = fit.day(&world.stated, &samples) {
            let miss = of_day(&world, &refined);
            by_season.entry(season(&world, day)).or_default().push(miss);
            all.push(miss);
        }
    }
    for (season, misses) in &by_season {
        print(
            &format!("{given:?}, one day in {season} of {}", asked[season]),
            misses,
        );
    }
    all
}

#[test]
fn one_day_under_a_clear_sky_of_wrong_turbidity_covers_the_truth() {
    let misses = single_days(Given::ClearSky, 2500, 1);
    print("clear sky, one day", &misses);
    assert_covered("clear sky", &misses, 400, COVERAGE);
}

#[test]
fn one_day_under_measured_components_covers_the_truth() {
    let misses = single_days(Given::Measured, 1000, 2);
    print("measured, one day", &misses);
    assert_covered("measured", &misses, 500, COVERAGE);
}

/// Clear days at random times of a season, until there are so many or forty were asked for.
fn record(
    world: &World,
    given: Given,
    only: Option<&str>,
    days: usize,
    fit: &OrientationFit,
    dice: &mut Dice,
) -> OrientationRecord {
    let mut record = OrientationRecord::default();
    let (mut asked, mut taken) = (0, 0);
    while asked < 40 && taken < days {
        let day = dice.uniform(1.0, 366.0) as i64;
        if only.is_some_and(|only| season(world, day) != only) {
            continue;
        }
        asked += 1;
        let samples = day_of(world, day, given, dice);
        if let Ok(refined) = fit.day(&world.stated, &samples) {
            let at = Time::from_unix_ms(day * 86_400_000).solar_day(0.0);
            record.add(at, &refined);
            taken += 1;
        }
    }
    record
}

/// Refinements of many places, adopted or not, as long as they are narrow enough to be.
fn several_days(given: Given, only: Option<&str>, days: usize, worlds: usize) -> Vec<[Miss; 2]> {
    let (fit, mut dice) = (fit(), Dice::new(3));
    let mut misses = Vec::new();
    let mut verdicts: BTreeMap<&str, usize> = BTreeMap::new();
    for _ in 0..worlds {
        let world = World::anywhere(&mut dice);
        let record = record(&world, given, only, days, &fit, &mut dice);
        let (name, refinement) = match record.verdict(&world.stated) {
            OrientationVerdict::TooFewDays { .. } => ("too few days", None),
            OrientationVerdict::TooWide(_) => ("too wide", None),
            OrientationVerdict::AsStated(r) => ("as stated", Some(r)),
            OrientationVerdict::Adopted(r) => ("adopted", Some(r)),
        };
        *verdicts.entry(name).or_default() += 1;
        misses.extend(refinement.map(|r| of_days(&world, &r)));
    }
    let season = only.unwrap_or("any season");
    print(
        &format!("{given:?}, {days} days of {season}, {verdicts:?}"),
        &misses,
    );
    misses
}

#[test]
fn several_days_under_a_clear_sky_cover_the_truth() {
    let misses = [
        several_days(Given::ClearSky, None, 6, 140),
        several_days(Given::ClearSky, None, 20, 120),
        several_days(Given::ClearSky, Some("summer"), 6, 140),
        several_days(Given::ClearSky, Some("summer"), 20, 100),
    ];
    assert_covered(
        "clear sky, several days",
        &misses.concat(),
        100,
        COVERAGE_OF_DAYS,
    );
}

#[test]
fn several_days_under_measured_components_cover_the_truth() {
    let misses = [
        several_days(Given::Measured, None, 6, 100),
        several_days(Given::Measured, None, 20, 100),
        several_days(Given::Measured, Some("winter"), 6, 60),
    ];
    assert_covered(
        "measured, several days",
        &misses.concat(),
        100,
        COVERAGE_OF_DAYS,
    );
}

/// A change of one percent in a hundred is what the level of significance allows; the intervals are
/// a little wider than that.
#[test]
fn a_plane_that_lies_as_stated_stays_so_and_one_that_does_not_is_found() {
    const ALLOWED_FALSE: usize = 3;
    let (fit, mut dice) = (fit(), Dice::new(5));
    let (mut wrongly, mut found, mut better) = (0, 0, 0);
    for _ in 0..100 {
        let mut world = World::anywhere(&mut dice);
        world.stated = world.truth.clone();
        let as_stated = record(&world, Given::Measured, None, 12, &fit, &mut dice);
        let verdict = as_stated.verdict(&world.stated);
        wrongly += usize::from(matches!(verdict, OrientationVerdict::Adopted(_)));
        world.stated = worlds::plane(
            world.truth.tilt.deg() - 8.0,
            world.truth.azimuth.deg() + 7.0,
        );
        let off = record(&world, Given::Measured, None, 12, &fit, &mut dice);
        if let OrientationVerdict::Adopted(r) = off.verdict(&world.stated) {
            found += 1;
            let [tilt, azimuth] = of_days(&world, &r);
            better += usize::from(tilt.error.abs() < 8.0 && azimuth.error.abs() < 7.0);
        }
    }
    println!("as stated, adopted: {wrongly} of 100; off: found {found}, better {better} of 100");
    assert!(wrongly <= ALLOWED_FALSE, "{wrongly}");
    assert!(found >= 85, "{found}");
    assert_eq!(
        better, found,
        "an adopted orientation is nearer than the stated one"
    );
}
