//! What an inverter publishes of its protection, through the whole engine: it takes the place of the
//! site's rules in the classes of trips and in the volt-watt line, and neither the order of delivery nor
//! a restart changes anything.
//! Kind of truth: property.

use crate::drive::{
    Poll, Told, account, assert_same, end_of, engine, finish, one_by_one, poll_and_tick,
};
use crate::limited_day::{ample, clear, hours, slots};
use crate::resume::restarted;
use crate::scenario::play;
use analysis::array::Limit;
use analysis::detect::Kind;
use analysis::engine::Input;
use analysis::plant::{Curve, EnterServiceSettings, GridSettings, Plant, VoltWattPoint};
use analysis::reading::{Span, Time, Voltage};
use std::sync::Arc;
use tests::plant::{Period, START, Shape, What, World, two_inverters};

const NOMINAL_V: f64 = 230.0;

/// Trips above 253 V within 13 s, as IEEE 1547-2018 has it over a nominal voltage of 230 V; comes back
/// after two minutes.
fn published() -> GridSettings {
    GridSettings {
        over_voltage: Some(Curve::On(vec![(1.1, 13.0), (1.2, 0.16)])),
        enter_service: EnterServiceSettings {
            delay_s: Some(120.0),
            ..EnterServiceSettings::default()
        },
        ..GridSettings::default()
    }
}

fn settings(i: usize, at: Time, settings: &GridSettings) -> Input {
    Input::Settings(i, at, Box::new(settings.clone()))
}

/// Six minutes off at noon, with the supply 10.5 V higher: some 251.5 V, far from the rules' limits.
fn tripped() -> (Arc<Plant>, Vec<Poll>) {
    let off = Period::new((0, 12.0), (0, 12.1));
    let world = World::fair()
        .with(Period::new((0, 11.0), (0, 12.0)), What::SupplyHigher(10.5))
        .with(off, What::Tripped(0, None));
    let shape = Shape {
        every: Span::from_min(1),
        ..two_inverters()
    };
    play(&shape, world, 1)
}

#[test]
fn a_trip_is_judged_by_the_limits_that_the_inverter_publishes() {
    let (plant, polls) = tripped();
    let cause = |first: Option<Input>| {
        let steps = first.into_iter().chain(one_by_one(&polls));
        let told = account(&plant, steps, end_of(&plant, &polls));
        let [trip] = told.of(Kind::GridTrip)[..] else {
            panic!("{}", told.list());
        };
        let number = |name: &str| trip.evidence.get(name).copied();
        (
            trip.causes[0].cause.clone(),
            number("limit_in_force_v"),
            number("reconnect_delay_wanted_s"),
        )
    };
    let unseen = "too fast to be seen in the polled values".to_owned();
    assert_eq!(cause(None), (unseen.clone(), None, Some(60.0)));
    let own = settings(0, START, &published());
    let wanted = Some(1.1 * NOMINAL_V);
    assert_eq!(
        cause(Some(own)),
        ("over-voltage".to_owned(), wanted, Some(120.0))
    );
    // What another inverter publishes is that one's alone.
    let other = settings(1, START, &published());
    assert_eq!(cause(Some(other)), (unseen, None, Some(60.0)));
}

/// The evidence of the wait: off for six minutes beside a good supply.
#[test]
fn the_time_to_reconnect_stands_beside_the_rule() {
    let (plant, polls) = tripped();
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let trip = told.of(Kind::GridTrip)[0];
    let number = |name: &str| trip.evidence[name];
    assert_eq!(number("reconnect_after_good_supply_s"), 360.0);
    assert_eq!(number("reconnect_over_wanted_ratio"), 6.0);
    assert!(number("reconnect_at_least_s") < 360.0 && number("reconnect_at_most_s") >= 360.0);
    assert_eq!(number("inverters_off_together_count"), 1.0);
    assert_eq!(number("inverters_at_work_before_count"), 2.0);
    assert!(
        trip.summary.contains("Other inverters stayed on"),
        "{}",
        trip.summary
    );
}

fn line(from_v: f64, to_v: f64) -> Vec<VoltWattPoint> {
    let point = |v, power_ratio| VoltWattPoint {
        voltage: Voltage::from_v(v),
        power_ratio,
    };
    vec![point(from_v, 1.0), point(to_v, 0.2)]
}

/// The rules begin at 253 V (config/grid/au-a.toml), this inverter at 246 V; the supply has 250.7 V.
#[test]
fn the_volt_watt_line_that_an_inverter_publishes_is_the_one_that_acts() {
    let with = |line| {
        let mut plant = ample();
        plant.site.grid_limits.volt_watt = line;
        Arc::new(plant)
    };
    let (plant, twin) = (with(line(253.0, 260.0)), with(line(246.0, 252.0)));
    let world = clear().with(hours(9.5, 14.5), What::SupplyHigher(9.7));
    let polls = crate::scenario::polls(&twin, world, 2, Span::from_min(2));
    let limits = |first: Option<Input>| {
        let steps = first.into_iter().chain(one_by_one(&polls));
        let told = account(&plant, steps, end_of(&plant, &polls));
        let noon = slots(&told, hours(11.0, 13.0));
        noon.into_iter()
            .map(|(_, slot)| slot.limit)
            .collect::<Vec<_>>()
    };
    let corners = vec![(246.0 / NOMINAL_V, 1.0), (252.0 / NOMINAL_V, 0.2)];
    let own = GridSettings {
        volt_watt: Some(Curve::On(corners)),
        ..GridSettings::default()
    };
    let by_own = limits(Some(settings(0, START, &own)));
    assert!(
        by_own.iter().all(|l| *l == Some(Limit::VoltWatt)),
        "{by_own:?}"
    );
    let by_rules = limits(None);
    assert!(
        by_rules.iter().all(|l| *l != Some(Limit::VoltWatt)),
        "{by_rules:?}"
    );
}

#[test]
fn neither_the_order_of_delivery_nor_a_restart_changes_what_settings_do() {
    let (plant, polls) = tripped();
    let read_at = START + Span::from_h(11);
    let lateness = plant.timing.allowed_lateness;
    // Given with the poll of that time, or as late as is allowed; with restarts after it or none.
    let told = |late: Span, restart_every: usize| {
        let mut engine = engine(&plant);
        let mut told = Told::default();
        let mut given = false;
        for (row, poll) in polls.iter().enumerate() {
            if !given && poll.0 >= read_at + late {
                given = true;
                told.take(engine.step(settings(0, read_at, &published())));
            }
            for step in poll_and_tick(poll) {
                told.take(engine.step(step));
            }
            if restart_every > 0 && row % restart_every == 0 {
                engine = restarted(&engine);
            }
        }
        finish(&mut engine, &mut told, end_of(&plant, &polls));
        told
    };
    let wanted = told(Span::ZERO, 0);
    assert_eq!(wanted.of(Kind::GridTrip)[0].causes[0].cause, "over-voltage");
    assert_same(&told(lateness.half(), 0), &wanted, "late");
    assert_same(&told(Span::ZERO, 1), &wanted, "restarts");
    assert_same(&told(lateness.half(), 7), &wanted, "late, with restarts");
}
