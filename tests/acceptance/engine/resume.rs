//! A restart at any row changes nothing; a state that does not fit is refused.

use crate::drive::{Told, account, assert_same, end_of, engine, finish, one_by_one, poll_and_tick};
use crate::scenario::{everything, play};
use analysis::detect::Kind;
use analysis::engine::{
    Engine, EngineError, EngineState, STATE_VERSION, morning_still_holds, still_holds,
};
use analysis::expected::{LearnedOf, SupplyNumber, WeatherRung};
use analysis::plant::Plant;
use analysis::reading::{Angle, ChannelTable, Span};
use proptest::prelude::*;
use std::sync::Arc;
use tests::plant::{Period, What, World, two_inverters};

/// What a restart leaves of an engine.
pub fn restarted(engine: &Engine) -> Engine {
    let bytes = postcard::to_stdvec(engine.state()).expect("plain data encodes");
    let state: EngineState = postcard::from_bytes(&bytes).expect("it decodes as it was");
    Engine::resume(engine.plant().clone(), state).expect("it is the same plant and version")
}

/// An account with restarts before some of the rows.
pub fn with_restarts(
    plant: &Arc<Plant>,
    polls: &[crate::drive::Poll],
    restart: impl Fn(usize) -> bool,
) -> Told {
    let mut engine = engine(plant);
    let mut told = Told::default();
    for (row, poll) in polls.iter().enumerate() {
        if restart(row) {
            engine = restarted(&engine);
        }
        for step in poll_and_tick(poll) {
            told.take(engine.step(step));
        }
    }
    finish(&mut engine, &mut told, end_of(plant, polls));
    told
}

#[test]
fn restarts_at_every_hundredth_row_change_nothing() {
    let (plant, polls) = everything();
    let wanted = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    let told = with_restarts(&plant, &polls, |row| row % 100 == 0);
    assert_same(&told, &wanted, "restarts at every hundredth row");
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 6, failure_persistence: None, ..ProptestConfig::default() })]

    /// One day on which an input is dead from late morning on.
    #[test]
    fn restarts_at_random_rows_change_nothing(
        rows in prop::collection::btree_set(0_usize..1440, 1..20),
    ) {
        let open = What::StringsOpen { input: (0, 2), count: 1 };
        let world = World::fair().with(Period::new((0, 10.5), (0, 23.0)), open);
        let (plant, polls) = play(&two_inverters(), world, 1);
        let wanted = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
        prop_assert_eq!(wanted.of(Kind::InputDead).len(), 1);
        let told = with_restarts(&plant, &polls, |row| rows.contains(&row));
        assert_same(&told, &wanted, "restarts at random rows");
    }
}

#[test]
fn the_state_of_another_plant_is_refused() {
    let here = Arc::new(tests::plant::plant(&two_inverters()));
    let mut elsewhere = (*here).clone();
    elsewhere.inverters[0].inputs[0].strings.pop();
    let state = engine(&here).state().clone();
    let refused = Engine::resume(Arc::new(elsewhere), state).expect_err("another plant");
    let EngineError::OtherPlant(before) = refused else {
        panic!("{refused}");
    };
    assert_eq!(before.inverters, here.inverters);
}

/// More is described, or it is polled otherwise: what was learned of the rest is as true as before. A
/// string less, and it is of another array.
#[test]
fn what_was_learned_holds_where_the_description_is_as_it_was() {
    let before = tests::plant::plant(&two_inverters());
    let of = [
        LearnedOf::Light(0, WeatherRung::PlaneSensor),
        LearnedOf::Current(0, 0),
        LearnedOf::Voltage(1, 0),
        LearnedOf::Supply(0, 1, SupplyNumber::Resistance),
    ];
    let holds = |now: &Plant| of.map(|of| still_holds(of, &before, now));
    let with = |change: fn(&mut Plant)| {
        let mut now = before.clone();
        change(&mut now);
        now
    };
    let polled = with(|plant| {
        plant.inverters[0].every = Span::from_s(7);
        plant.channels = ChannelTable::default();
    });
    assert_eq!(holds(&polled), [true; 4]);
    assert!(morning_still_holds(0, &before, &polled));
    // By place, not by number.
    let turned = with(|plant| plant.inverters.reverse());
    assert_eq!(holds(&turned)[1..], [true; 3]);
    let fewer = with(|plant| {
        plant.inverters[0].inputs[0].strings.pop();
    });
    assert_eq!(holds(&fewer), [false, false, true, true]);
    assert!(!morning_still_holds(0, &before, &fewer) && morning_still_holds(1, &before, &fewer));
    let another_sensor = with(|plant| plant.weather.clear());
    assert_eq!(holds(&another_sensor), [false, true, true, true]);
    let clearer = with(|plant| plant.site.linke_turbidity[0] += 0.5);
    assert_eq!(holds(&clearer), [false, true, true, true]);
    let elsewhere = with(|plant| plant.site.latitude = Angle::from_deg(-1.0));
    assert_eq!(holds(&elsewhere), [false; 4]);
}

#[test]
fn the_state_of_another_version_is_refused() {
    let plant = Arc::new(tests::plant::plant(&two_inverters()));
    let mut bytes = postcard::to_stdvec(engine(&plant).state()).expect("plain data encodes");
    // The version comes first, as a varint of one byte while it is small.
    assert_eq!(u32::from(bytes[0]), STATE_VERSION);
    bytes[0] += 1;
    let state: EngineState = postcard::from_bytes(&bytes).expect("the rest is as it was");
    let refused = Engine::resume(plant, state).expect_err("another version");
    let wanted = EngineError::StateVersion {
        found: STATE_VERSION + 1,
        wanted: STATE_VERSION,
    };
    assert_eq!(refused, wanted);
}
