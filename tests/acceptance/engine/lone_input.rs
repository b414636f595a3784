//! The only input of a plane, dead: whatever it shows, its plane is not dark.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Kind, Slot};
use analysis::ledger;
use analysis::reading::{Span, Time};
use tests::plant::{NORTH, Period, START, Shape, Strings, WEST, What, World};

const DAYS: i64 = 3;
/// It dies in the afternoon and is mended before noon of the next day.
const DEAD: ((i64, f64), (i64, f64)) = ((1, 14.0), (2, 11.0));

/// One input to the west beside one to the north, with or without a sensor in the plane to the
/// north.
fn shape(sensor: Option<usize>) -> Shape {
    let strings = |plane| Strings {
        parallel: 1,
        modules: 16,
        plane,
    };
    Shape {
        inverters: vec![(16_000.0, vec![strings(NORTH), strings(WEST)])],
        sensor,
        every: Span::from_min(1),
    }
}

struct Run {
    told: Told,
    /// What the ledger books under the dead input [Wh].
    booked_wh: f64,
}

fn run(sensor: Option<usize>, cloudiness: f64, is_dead: bool) -> Run {
    let fair = World {
        cloudiness: vec![0.1, cloudiness, cloudiness],
        ..World::fair()
    };
    let (from, to) = DEAD;
    let count = u8::from(is_dead);
    let input = (0, 1);
    let world = fair.with(Period::new(from, to), What::StringsOpen { input, count });
    let (plant, polls) = play(&shape(sensor), world, DAYS);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let findings: Vec<_> = told.findings.values().cloned().collect();
    let entries = ledger::hourly(&plant, &told.slots, &findings);
    let booked = entries
        .iter()
        .filter_map(|e| e.findings.get(&Kind::InputDead));
    Run {
        booked_wh: booked.map(|e| e.wh()).sum(),
        told,
    }
}

fn is_dead_in(slot: &Slot) -> bool {
    let (from, to) = DEAD;
    let period = Period::new(from, to);
    period.holds(slot.start) && period.holds(slot.start + slot.span)
}

/// What the west input gave in healthy slots in which the other run has it dead [Wh].
fn given_wh(slots: &[Slot]) -> f64 {
    let given = |slot: &Slot| {
        let input = &slot.inverters[0].inputs[1];
        let both = input.voltage.zip(input.current);
        both.map_or(0.0, |(v, a)| (v * a * slot.span).wh())
    };
    slots.iter().filter(|s| is_dead_in(s)).map(given).sum()
}

/// Slots in which the dead input's plane is said to have next to no light where it has some: when,
/// and both [W/m2].
fn darkened(dead: &Told, healthy: &Told) -> Vec<(Time, f64, f64)> {
    const SOME_W_M2: f64 = 60.0;
    const NEXT_TO_NONE: f64 = 0.3;
    let poa = |slot: &Slot| slot.planes[WEST].poa.map(|(poa, _)| poa.w_m2());
    let both = dead.slots.iter().zip(&healthy.slots);
    let dark = both.filter(|(slot, _)| is_dead_in(slot));
    dark.filter_map(|(slot, beside)| {
        let (said, lit) = (poa(slot)?, poa(beside)?);
        let is_dark = lit > SOME_W_M2 && said < NEXT_TO_NONE * lit;
        is_dark.then_some((slot.start, said, lit))
    })
    .collect()
}

#[test]
fn a_dead_lone_input_does_not_darken_its_plane_and_its_loss_is_booked_from_dawn_to_dusk() {
    // Of what a healthy one gives at its terminals: 97 % of it is on the AC side, and the light is
    // known to a few per cent, at the edges of the day to a quarter. Measured: 97 to 98 %.
    const BOOKED: (f64, f64) = (0.9, 1.05);
    for sensor in [Some(NORTH), None] {
        for cloudiness in [0.0, 0.4] {
            let label = format!("sensor {sensor:?}, cloud {cloudiness}");
            let [dead, healthy] = [true, false].map(|is_dead| run(sensor, cloudiness, is_dead));
            let dark = darkened(&dead.told, &healthy.told);
            let given = given_wh(&healthy.told.slots);
            println!("{label}: booked {:.0} of {given:.0} Wh", dead.booked_wh);
            for (at, said, lit) in &dark {
                let hour = (*at - START).hours();
                println!("    {hour:.2} h: {said:.0} of {lit:.0} W/m2");
            }
            assert_eq!(dark.len(), 0, "{label}");
            let found = dead.told.of(Kind::InputDead);
            assert_eq!(found.len(), 1, "{label}:\n{}", dead.told.list());
            assert_eq!(healthy.told.findings.len(), 0, "{label}");
            let ratio = dead.booked_wh / given;
            assert!((BOOKED.0..BOOKED.1).contains(&ratio), "{label}: {ratio}");
        }
    }
}

/// What needs more than three weeks to be believed is no more than a season, a sensor or dirt may make.
#[test]
fn a_lone_input_is_told_what_it_lost_at_once_and_not_what_hardly_shows() {
    const DAYS: i64 = 100;
    let found = |lost: f64| {
        let world = World {
            cloudiness: vec![0.1, 0.5, 0.2],
            ..World::fair()
        };
        let since = Period::new((15, 0.0), (DAYS, 0.0));
        let world = world.with(since, What::Dimmed((0, 1), 1.0 - lost));
        let shape = Shape {
            every: Span::from_min(5),
            ..shape(Some(NORTH))
        };
        let (plant, polls) = play(&shape, world, DAYS);
        account(&plant, one_by_one(&polls), end_of(&plant, &polls))
    };
    let (hardly, at_once) = (found(0.08), found(0.1));
    assert_eq!(hardly.of(Kind::CurrentLow).len(), 0, "{}", hardly.list());
    assert_eq!(at_once.of(Kind::CurrentLow).len(), 1, "{}", at_once.list());
}
