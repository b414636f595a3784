//! Insulation that falls from one dry morning to the next: how soon it is told, and how seldom it is
//! told of a sound array. Limits asserted here were measured with this synthetic weather.

use crate::drive::{account, assert_same, end_of, one_by_one};
use crate::resume::with_restarts;
use crate::scenario::play;
use analysis::detect::{Edge, Fall, Falling, Kind, Morning, Mornings, Severity};
use analysis::reading::{Span, Time};
use tests::plant::{Insulation, Shape, World, normal, two_inverters, uniform};

/// 1100 V over 30 mA (IEC 62109-2, from memory, verify) [ohm].
const LIMIT_OHM: f64 = 1100.0 / 0.03;
const DAYS: i64 = 180;

/// What the mornings of an array are like.
#[derive(Debug, Clone, Copy)]
struct Array {
    dry_ohm: f64,
    fall_ratio_per_month: f64,
    /// From morning to morning, half of it remembered from the morning before [decades].
    scatter_decades: f64,
    /// Share of wet mornings, each with a twentieth to a third of the resistance.
    wet: f64,
    /// Share of the wet mornings that are taken for dry ones.
    unseen: f64,
    /// Whether anything tells wet from dry, and whether temperature is measured.
    measured: bool,
    /// Warmer by so much after half a year, and what that does [K, decades/K].
    season_k: f64,
    decades_per_k: f64,
}

const SOUND: Array = Array {
    dry_ohm: 1.8e6,
    fall_ratio_per_month: 0.0,
    scatter_decades: 0.15,
    wet: 0.3,
    unseen: 0.1,
    measured: true,
    season_k: 0.0,
    decades_per_k: 0.0,
};

fn mornings(array: Array, seed: u64, days: i64) -> impl Iterator<Item = Morning> {
    let mut remembered = 0.0;
    (0..days).map(move |day| {
        let chance = |what: u64| uniform(seed.wrapping_mul(1000) + what, day as u64);

        remembered = 0.5 * remembered + 0.75_f64.sqrt() * normal(seed, day as u64);
        let season = -(std::f64::consts::TAU * day as f64 / 365.0).cos();
        let degc = 12.0 + 0.5 * array.season_k * season + 2.0 * normal(seed ^ 7, day as u64);
        let months = day as f64 / 30.0;
        let is_wet = chance(1) < array.wet;
        let water = if is_wet { 0.5 + 0.8 * chance(2) } else { 0.0 };
        let log10 = array.dry_ohm.log10()
            + months * (1.0 - array.fall_ratio_per_month).log10()
            + array.scatter_decades * remembered
            - array.decades_per_k * (degc - 12.0)
            - water;
        let seen = is_wet && chance(3) >= array.unseen;
        Morning {
            at: Time::from_unix_ms(day * 86_400_000),
            log10_ohm: Some(log10 as f32),
            is_wet: array.measured.then_some(seen),
            temperature_degc: array.measured.then_some(degc as f32),
            is_low: false,
            lost_min: 0,
        }
    })
}

/// The first finding: day, and what was seen.
fn first(array: Array, seed: u64, days: i64) -> Option<(f64, Falling)> {
    let mut kept = Mornings::new();
    mornings(array, seed, days).find_map(|m| match kept.push(m.at, m, LIMIT_OHM) {
        Some(Edge::Found { found, seen, .. }) => Some((found.unix_ms() as f64 / 8.64e7, seen)),
        _ => None,
    })
}

/// Every kind of sound array that is asked about: how good, how scattered, whether anything measures
/// wetness and temperature, and what the season does.
fn sound_arrays() -> Vec<Array> {
    let mut arrays = Vec::new();
    for dry_ohm in [1.8e6, 3e5, 1.5e5] {
        for scatter_decades in [0.15, 0.3] {
            for measured in [true, false] {
                for (season_k, decades_per_k) in
                    [(0.0, 0.0), (15.0, 0.0), (15.0, 0.03), (-15.0, 0.03)]
                {
                    arrays.push(Array {
                        dry_ohm,
                        scatter_decades,
                        measured,
                        season_k,
                        decades_per_k,
                        ..SOUND
                    });
                }
            }
        }
    }
    arrays
}

#[test]
fn sound_arrays_are_quiet_for_half_a_year_of_wet_and_dry_mornings() {
    for array in sound_arrays() {
        for seed in 1..=3 {
            let told = first(array, seed, DAYS);
            assert_eq!(told, None, "{array:?}, seed {seed}");
        }
    }
}

/// Measured: none of 1920. Once with 100 seeds over two years: at most five of a hundred, with wetness
/// and temperature measured, and with neither through a season.
#[test]
fn of_many_sound_half_years_next_to_none_is_told_as_falling() {
    const SEEDS: u64 = 40;
    const AT_MOST_RATIO: f64 = 0.002;
    let arrays = sound_arrays();
    let told = arrays.iter().map(|array| {
        let told = (1..=SEEDS).filter(|seed| first(*array, *seed, DAYS).is_some());
        told.count()
    });
    let told = told.sum::<usize>();
    println!("{told} of {}", arrays.len() * SEEDS as usize);
    let all = arrays.len() as f64 * SEEDS as f64;
    assert!(told as f64 <= AT_MOST_RATIO * all, "{told} of {all}");
}

/// From 1 Mohm, by share of the insulation lost in a month and scatter from morning to morning
/// [decades]: days until it is told with wetness and temperature measured, and the error of the day
/// that is forecast over the days from the first morning to the limit [-]. Measured with three
/// seeds, rounded up.
const CURVE: [(f64, f64, f64, f64); 11] = [
    (0.1, 0.05, 800.0, 0.1),
    (0.2, 0.05, 285.0, 0.1),
    (0.3, 0.05, 135.0, 0.1),
    (0.5, 0.05, 65.0, 0.1),
    (0.1, 0.15, 800.0, 0.25),
    (0.2, 0.15, 295.0, 0.25),
    (0.3, 0.15, 165.0, 0.25),
    (0.5, 0.15, 110.0, 0.25),
    (0.2, 0.3, 310.0, 0.35),
    (0.3, 0.3, 200.0, 0.35),
    (0.5, 0.3, 140.0, 0.35),
];

#[test]
fn a_fall_is_told_before_it_meets_the_limit_with_the_day_on_which_it_will() {
    for (fall_ratio_per_month, scatter_decades, days, error) in CURVE {
        let meets = meets_limit_d(1e6, fall_ratio_per_month);
        for seed in 1..=3 {
            let label = format!("{fall_ratio_per_month}, {scatter_decades}, seed {seed}");
            let array = from_1_mohm(fall_ratio_per_month, scatter_decades);
            let (day, seen) = first(array, seed, 1000).expect(&label);
            let Fall::Drift { days_to_limit, .. } = seen.how else {
                panic!("{label}: {seen:?}");
            };
            println!(
                "{label}: meets {meets:.0} told {day:.0} for {:.0}",
                day + days_to_limit
            );
            assert!(
                day <= days && day < meets,
                "{label}: day {day}, meets {meets}"
            );
            tests::assert_close!((day + days_to_limit) / meets, 1.0, error, label);
        }
    }
}

/// It is told the first time that the limit looks near enough, so the forecast is rather early than
/// late. Measured: 207 of 216 intervals hold the day,
/// the other 9 end before it.
#[test]
fn the_interval_of_the_forecast_mostly_holds_the_day() {
    const SEEDS: u64 = 20;
    const AT_LEAST_RATIO: f64 = 0.85;
    let (mut held, mut all, mut early) = (0_usize, 0_usize, 0_usize);
    for (fall_ratio_per_month, scatter_decades, ..) in CURVE {
        let meets = meets_limit_d(1e6, fall_ratio_per_month);
        for seed in 1..=SEEDS {
            let array = from_1_mohm(fall_ratio_per_month, scatter_decades);
            let told = first(array, seed, 1000);
            let Some((
                day,
                Fall::Drift {
                    soonest_d,
                    latest_d,
                    ..
                },
            )) = told.map(|t| (t.0, t.1.how))
            else {
                continue;
            };
            all += 1;
            held += usize::from(day + soonest_d <= meets && meets <= day + latest_d);
            early += usize::from(meets > day + latest_d);
        }
    }
    println!("{held} of {all} hold the day, {early} end before it");
    assert!(
        all as f64 > 0.9 * (SEEDS as usize * CURVE.len()) as f64,
        "{all}"
    );
    assert!(
        held as f64 >= AT_LEAST_RATIO * all as f64,
        "{held} of {all}"
    );
}

fn from_1_mohm(fall_ratio_per_month: f64, scatter_decades: f64) -> Array {
    Array {
        dry_ohm: 1e6,
        fall_ratio_per_month,
        scatter_decades,
        ..SOUND
    }
}

/// Days until an array that falls like this meets the limit.
fn meets_limit_d(dry_ohm: f64, fall_ratio_per_month: f64) -> f64 {
    30.0 * (LIMIT_OHM / dry_ohm).log10() / (1.0 - fall_ratio_per_month).log10()
}

/// Without humidity and temperature only what is steeper than any season is told, by the best of
/// each week; slower falls after nearly a year.
#[test]
fn where_nothing_is_measured_a_fall_is_told_later() {
    let array = |fall_ratio_per_month| Array {
        dry_ohm: 1e6,
        fall_ratio_per_month,
        measured: false,
        ..SOUND
    };
    for (fall, from, to) in [(0.5, 40.0, 135.0), (0.2, 330.0, 345.0)] {
        for seed in 1..=3 {
            let (day, _) = first(array(fall), seed, 400).expect("told");
            assert!((from..to).contains(&day), "{fall}, seed {seed}: {day}");
        }
    }
}

fn quarter_hours() -> Shape {
    Shape {
        every: Span::from_min(15),
        ..two_inverters()
    }
}

/// The whole engine: a hundred days of polls, three in ten mornings wet, half of the insulation lost
/// every month.
#[test]
fn the_engine_tells_a_falling_array_and_says_when_it_will_not_start() {
    let world = World {
        measures_water: true,
        insulation: Insulation {
            dry_ohm: 1e6,
            fall_ratio_per_month: 0.5,
            scatter_decades: 0.1,
            wet_ratio: 0.2,
        },
        wet_mornings: 0.3,
        ..World::fair()
    };
    let (plant, polls) = play(&quarter_hours(), world, 90);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let again = with_restarts(&plant, &polls, |row| row % 100 == 0);
    assert_same(&again, &told, "restarts at every hundredth row");
    let falling = told.of(Kind::IsolationFalling);
    assert_eq!(falling.len(), 2, "one of each array:\n{}", told.list());
    for finding in falling {
        let number = |name: &str| finding.evidence[name];
        let told_on = (finding.found - tests::plant::START).hours() / 24.0;
        assert!(told_on < 85.0, "{told_on}");
        let meets = meets_limit_d(1e6, 0.5);
        let says = |name| told_on + number(name);
        assert!(
            says("reaches_limit_soonest_d") <= meets && meets <= says("reaches_limit_latest_d"),
            "{meets}: {finding:?}"
        );
        assert!(number("fall_ratio_per_month") > 0.3 && number("fall_ratio_per_month") < 0.7);
        assert!(number("wet_mornings_count") > 5.0, "{finding:?}");
        assert_eq!((finding.severity, finding.ended), (Severity::Plan, None));
        let fall = 100.0 * number("fall_ratio_per_month");
        let wanted = [
            format!("falls by {fall:.0} % a month"),
            "would reach its limit".to_owned(),
            // A date, not a number of per cent.
            ", about 20".to_owned(),
        ];
        for words in wanted {
            let summary = &finding.summary;
            assert!(summary.contains(&words), "no {words:?} in {summary:?}");
        }
        assert!(finding.caution.len() >= 5 && !finding.advice.is_empty());
        assert_eq!(finding.lost.wh(), 0.0, "it starts every day");
    }
}

/// Under the limit whenever it is wet, as good as ever when it is dry: low on each wet morning, with
/// what it costs, and not falling.
#[test]
fn a_wet_plant_that_dries_every_morning_is_low_and_not_falling() {
    let world = World {
        measures_water: true,
        insulation: Insulation {
            dry_ohm: 1.8e6,
            fall_ratio_per_month: 0.0,
            scatter_decades: 0.1,
            wet_ratio: 0.01,
        },
        wet_mornings: 0.4,
        ..World::fair()
    };
    let wet = (0..60).filter(|day| world.is_wet_morning(*day)).count();
    let (plant, polls) = play(&quarter_hours(), world, 60);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    assert_eq!(told.of(Kind::IsolationFalling).len(), 0, "{}", told.list());
    let low = told.of(Kind::IsolationLow);
    let of_first: Vec<_> = low
        .iter()
        .filter(|f| f.subject.device.as_str() == "inv-1")
        .collect();
    assert_eq!(
        (low.len(), of_first.len()),
        (2 * wet, wet),
        "{}",
        told.list()
    );
    for (n, finding) in of_first.iter().enumerate() {
        assert_eq!(finding.evidence["earlier_low_mornings_count"], n as f64);
        // Enough light from some time after five; dry at ten.
        let lost_min = finding.evidence["lost_generation_min"];
        assert!((180.0..300.0).contains(&lost_min), "{lost_min} min");
        assert!(
            finding.summary.contains("while it is wet"),
            "{}",
            finding.summary
        );
        assert!(finding.ended.is_some());
    }
    let last = of_first.last().expect("it was wet");
    let earlier = last.evidence["earlier_lost_generation_min"];
    let sum: f64 = of_first
        .iter()
        .map(|f| f.evidence["lost_generation_min"])
        .sum();
    assert_eq!(earlier + last.evidence["lost_generation_min"], sum);
}
