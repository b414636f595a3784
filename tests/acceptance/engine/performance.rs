//! Figures of performance: what must hold for any slots, and what the synthetic plant shows.

use crate::drive::{Told, account, end_of, one_by_one};
use crate::scenario::play;
use analysis::detect::{Gate, InputSlot, InverterSlot, PlaneSlot, Slot};
use analysis::expected::WeatherRung;
use analysis::ledger::{
    Capacity, CapacityError, CapacityTest, Figures, Performance, Period, ReportingConditions,
};
use analysis::plant::Plant;
use analysis::reading::{Current, Irradiance, Power, SolarDay, Span, Temperature, Voltage};
use proptest::prelude::*;
use std::sync::Arc;
use tests::assert_close;
use tests::plant::{NORTH, Period as When, START, Shape, Strings, What, World, plant};

/// Sums and quotients of some hundred doubles.
const ROUNDING: f64 = 1e-9;
const SLOT: Span = Span::from_min(5);
/// Slots of a day.
const DAY: usize = 288;

/// One inverter with all strings on one plane.
fn one_plane(sensor: Option<usize>) -> Shape {
    Shape {
        inverters: vec![(
            20_000.0,
            vec![
                Strings {
                    parallel: 2,
                    modules: 16,
                    plane: NORTH,
                };
                1
            ],
        )],
        sensor,
        every: Span::from_min(1),
    }
}

/// What a module is rated at, and its change with temperature.
fn rated(plant: &Plant) -> (f64, f64) {
    let input = &plant.inverters[0].inputs[0];
    let gamma = plant.modules[0].pmax_temp_ratio_per_k;
    (plant.input_rated(input).w(), gamma)
}

/// A slot of a plant that turns the light into power at its rated efficiency, but for heat and a
/// share that the inverter keeps.
fn slot(plant: &Plant, n: usize, light_w_m2: f64, cell_degc: f64, kept: f64) -> Slot {
    let (rated_w, gamma) = rated(plant);
    let dc_w = rated_w * light_w_m2 / 1000.0 * (1.0 + gamma * (cell_degc - 25.0));
    let input = InputSlot {
        voltage: Some(Voltage::from_v(500.0)),
        current: Some(Current::from_a(dc_w / 500.0)),
        expected: None,
        gate: Gate::Valid,
        limit: None,
    };
    let plane = PlaneSlot {
        poa: Some((Irradiance::from_w_m2(light_w_m2), WeatherRung::PlaneSensor)),
        cell: Some(Temperature::from_degc(cell_degc)),
    };
    let inverter = InverterSlot {
        ac_power: Some(Power::from_w(dc_w * (1.0 - kept))),
        expected_ac_power: Some(Power::from_w(dc_w)),
        shade_ac_power: None,
        limit: None,
        producing: Some(true),
        inputs: vec![input],
    };
    Slot {
        start: START + SLOT * n as i64,
        span: SLOT,
        air: None,
        wind: None,
        planes: vec![plane; 2],
        inverters: vec![inverter],
    }
}

fn figures(plant: &Plant, slots: &[Slot]) -> Vec<Figures> {
    let mut performance = Performance::new(plant);
    slots.iter().for_each(|slot| performance.add(slot));
    performance.figures()
}

fn of_inverter(figures: &[Figures], period: Period) -> Vec<&Figures> {
    let wanted = |f: &&Figures| f.period == period && f.inverter == Some(0);
    figures.iter().filter(wanted).collect()
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 48,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    /// Any light, any heat, anything missing.
    #[test]
    fn an_exact_plant_has_a_ratio_of_one_and_every_day_balances(
        light in prop::collection::vec((0.0..1300.0f64, -10.0..70.0f64), DAY),
        missing in prop::collection::vec(prop::bool::weighted(0.15), DAY),
        kept in 0.0..0.1f64,
        cold in any::<bool>(),
    ) {
        let plant = plant(&one_plane(Some(NORTH)));
        let mut slots = Vec::new();
        for (n, ((light, cell), missing)) in light.iter().zip(&missing).enumerate() {
            let mut slot = slot(&plant, n, *light, if cold { 25.0 } else { *cell }, kept);
            if *missing {
                slot.inverters[0].ac_power = None;
                slot.inverters[0].inputs[0].current = None;
            }
            slots.push(slot);
        }
        let all = figures(&plant, &slots);
        for f in all.iter() {
            let cover = f.output_cover_ratio.expect("the sun rises");
            prop_assert!((0.0..=1.0 + ROUNDING).contains(&cover));
            // A figure is there if, and only if, enough of the light is.
            prop_assert_eq!(f.performance_ratio.is_some(), cover >= 0.9 - ROUNDING);
            prop_assert_eq!(f.final_yield_h.is_some(), cover >= 0.9 - ROUNDING);
            let Some(ratio) = f.performance_ratio else { continue };
            let ratio_25 = f.performance_ratio_25.expect("the same slots");
            assert_close!(ratio_25, 1.0 - kept, ROUNDING, "PR at 25 degC");
            if cold {
                assert_close!(ratio, 1.0 - kept, ROUNDING, "PR");
            }
            let part = |value: Option<f64>| value.expect("the same slots");
            let (reference, array) = (part(f.reference_yield_h), part(f.array_yield_h));
            let (last, capture) = (part(f.final_yield_h), part(f.capture_loss_h));
            let system = part(f.system_loss_h);
            prop_assert!(reference >= 0.0 && array >= 0.0 && last >= 0.0 && system >= 0.0);
            assert_close!(last + capture + system, reference, ROUNDING, "balance");
            assert_close!(part(f.performance_index), 1.0 - kept, ROUNDING, "index");
            assert_close!(part(f.availability_time_ratio), 1.0, ROUNDING, "availability");
        }
    }
}

/// Light that is worked out from the plant's own output measures nothing.
#[test]
fn without_a_sensor_there_are_yields_and_no_ratio() {
    let plant = plant(&one_plane(Some(NORTH)));
    let dim = |n| {
        let mut slot = slot(&plant, n, 500.0, 40.0, 0.02);
        for plane in &mut slot.planes {
            plane.poa = plane.poa.map(|(poa, _)| (poa, WeatherRung::ScaledClearSky));
        }
        slot
    };
    let slots: Vec<Slot> = (0..DAY).map(dim).collect();
    let all = figures(&plant, &slots);
    let f = of_inverter(&all, Period::Whole)[0];
    assert_eq!(f.light_cover_ratio, Some(0.0));
    assert_eq!((f.reference_yield_h, f.performance_ratio), (None, None));
    assert!(f.final_yield_h.is_some() && f.performance_index.is_some());
}

/// A combiner box has no AC side.
#[test]
fn without_an_ac_side_there_are_the_figures_of_the_array() {
    let plant = plant(&one_plane(Some(NORTH)));
    let dc_only = |n| {
        let mut slot = slot(&plant, n, 500.0, 45.0, 0.0);
        slot.inverters[0].ac_power = None;
        slot
    };
    let slots: Vec<Slot> = (0..DAY).map(dc_only).collect();
    let all = figures(&plant, &slots);
    let f = of_inverter(&all, Period::Whole)[0];
    let (array, capture) = (f.array_yield_h.expect("DC"), f.capture_loss_h.expect("DC"));
    let (_, gamma) = rated(&plant);
    assert_close!(
        capture / (array + capture),
        -20.0 * gamma,
        ROUNDING,
        "heat alone"
    );
    assert_eq!((f.final_yield_h, f.system_loss_h), (None, None));
}

#[test]
fn a_record_that_begins_at_night_has_no_day_for_that() {
    let plant = plant(&one_plane(Some(NORTH)));
    let mut slots: Vec<Slot> = (0..DAY)
        .map(|n| slot(&plant, n, 500.0, 25.0, 0.0))
        .collect();
    let mut before = slots[0].clone();
    before.start = START - SLOT;
    slots.insert(0, before);
    let all = figures(&plant, &slots);
    assert_eq!(of_inverter(&all, Period::Day).len(), 1);
    assert!(of_inverter(&all, Period::Whole)[0].final_yield_h.is_some());
}

#[test]
fn days_without_a_slot_are_days_without_figures_and_count_in_the_whole() {
    let plant = plant(&one_plane(Some(NORTH)));
    let days = [0, 3];
    let at = days
        .iter()
        .flat_map(|day| (0..DAY).map(move |n| day * DAY + n));
    let slots: Vec<Slot> = at.map(|n| slot(&plant, n, 500.0, 25.0, 0.0)).collect();
    let all = figures(&plant, &slots);
    let by_day = of_inverter(&all, Period::Day);
    let with: Vec<bool> = by_day.iter().map(|f| f.final_yield_h.is_some()).collect();
    assert_eq!(with, [true, false, false, true]);
    let whole = of_inverter(&all, Period::Whole)[0];
    assert_close!(
        whole.output_cover_ratio.expect("sun"),
        0.5,
        0.01,
        "two of four"
    );
    assert_eq!(whole.final_yield_h, None);
}

fn told(shape: &Shape, world: World, days: i64) -> (Arc<Plant>, Told) {
    let (plant, polls) = play(shape, world, days);
    let told = account(&plant, one_by_one(&polls), end_of(&plant, &polls));
    (plant, told)
}

/// Two hours of standstill on one of three days; the light is on for about twelve of each.
#[test]
fn a_standstill_costs_availability_and_the_rest_is_as_expected() {
    let stop = What::Stopped(0);
    let world = World::fair().with(When::new((1, 11.0), (1, 13.0)), stop);
    let (plant, told) = told(&one_plane(Some(NORTH)), world, 3);
    let all = figures(&plant, &told.slots);
    let days = of_inverter(&all, Period::Day);
    let (day, before) = (days[1], days[0]);
    assert_eq!(before.availability_time_ratio, Some(1.0), "{before:?}");
    assert_eq!(before.availability_energy_ratio, Some(1.0));
    let time = day.availability_time_ratio.expect("all is told");
    let energy = day.availability_energy_ratio.expect("all is told");
    assert!((0.75..0.90).contains(&time), "{day:?}");
    assert!(energy < time, "noon is worth more: {day:?}");
    let index = before.performance_index.expect("covered");
    assert!((0.95..1.05).contains(&index), "{before:?}");
    let ratio = before.performance_ratio.expect("covered");
    assert!((0.75..1.0).contains(&ratio), "{before:?}");
}

#[test]
fn a_day_of_silence_has_no_figures() {
    let silence = What::Silent(Some(0));
    let world = World::fair().with(When::new((1, 9.0), (1, 15.0)), silence);
    let (plant, told) = told(&one_plane(Some(NORTH)), world, 3);
    let all = figures(&plant, &told.slots);
    let day = of_inverter(&all, Period::Day)[1];
    assert_eq!(
        (day.final_yield_h, day.performance_ratio),
        (None, None),
        "{day:?}"
    );
    assert_eq!(day.availability_time_ratio, None);
    assert!(day.output_cover_ratio.expect("the sun rises") < 0.6);
}

fn tested(
    plant: &Plant,
    slots: &[Slot],
    stated: Option<ReportingConditions>,
) -> Result<Capacity, CapacityError> {
    let mut test = CapacityTest::new(plant);
    slots.iter().for_each(|slot| test.add(slot));
    let all = SolarDay::from_number(0)..=SolarDay::from_number(i64::MAX);
    test.capacity(plant, 0, all, stated)
}

/// The twin is as described, so its capacity is its datasheets'; its sensor and inputs have errors
/// of their own, and the light that reaches the cells is stated for one angle only.
#[test]
fn the_capacity_of_a_plant_as_described_is_that_of_its_datasheets() {
    const AS_DESCRIBED: f64 = 0.03;
    let (plant, told) = told(&one_plane(Some(NORTH)), World::fair(), 5);
    let found = tested(&plant, &told.slots, None).expect("five bright days");
    let ratio = found.power.w() / found.expected.w();
    assert_close!(ratio, 1.0, AS_DESCRIBED, format!("{found:?}"));
    // Its wind is the same all the time, and takes no part; the datasheets still get it.
    assert_eq!(found.fit.terms, 3);
    assert!(found.conditions.wind.is_some());
    assert!(found.low < found.power && found.power < found.high);
    assert!(
        found.high.w() - found.low.w() < 0.05 * found.power.w(),
        "{found:?}"
    );

    // A tenth of the modules missing is seen against what the datasheets promise.
    let mut less = told.slots.clone();
    for slot in &mut less {
        let inverter = &mut slot.inverters[0];
        inverter.ac_power = inverter.ac_power.map(|p| Power::from_w(0.9 * p.w()));
    }
    let less = tested(&plant, &less, None).expect("the same slots");
    assert_close!(less.power.w() / found.power.w(), 0.9, ROUNDING, "scaled");
    assert!(less.high.w() < less.expected.w(), "{less:?}");
}

#[test]
fn a_capacity_that_cannot_be_told_says_why() {
    let (plant, told) = told(&one_plane(Some(NORTH)), World::fair(), 5);
    let with = |change: fn(&mut Slot)| {
        let mut slots = told.slots.clone();
        slots.iter_mut().for_each(change);
        tested(&plant, &slots, None)
    };
    let airless = with(|slot| slot.air = None);
    assert!(
        matches!(airless, Err(CapacityError::NoAirTemperature { .. })),
        "{airless:?}"
    );
    let dark = with(|slot| {
        for plane in &mut slot.planes {
            plane.poa = plane.poa.map(|(poa, _)| (poa, WeatherRung::HorizontalOnly));
        }
    });
    assert!(
        matches!(dark, Err(CapacityError::NoPlaneSensor { bright }) if bright > 0),
        "{dark:?}"
    );
    let limited = with(|slot| slot.inverters[0].inputs[0].gate = Gate::Limited);
    assert!(
        matches!(limited, Err(CapacityError::TooFewSlots { found: 0, .. })),
        "{limited:?}"
    );
    let two_days = &told.slots[..2 * DAY];
    let few = tested(&plant, two_days, None);
    assert!(
        matches!(few, Err(CapacityError::TooFewDays { found: 2, .. })),
        "{few:?}"
    );
    let stated = ReportingConditions {
        poa: Irradiance::from_w_m2(800.0),
        air: Temperature::from_degc(-30.0),
        wind: None,
    };
    let outside = tested(&plant, &told.slots, Some(stated));
    assert!(
        matches!(
            outside,
            Err(CapacityError::OutsideSlots {
                quantity: "air_temperature_degc",
                ..
            })
        ),
        "{outside:?}"
    );
    // Without wind there is one term less, and no reporting wind.
    let calm = with(|slot| slot.wind = None).expect("wind may be missing");
    assert_eq!((calm.fit.terms, calm.conditions.wind), (3, None));
}
