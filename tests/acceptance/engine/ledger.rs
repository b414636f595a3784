//! The ledger balances for any slots and findings, gaps included.

use analysis::array::Limit;
use analysis::detect::{Cost, Gate, InputSlot, InverterSlot, Kind, Slot};
use analysis::diagnose::{Finding, FindingId, Subject};
use analysis::expected::InputExpected;
use analysis::ledger::{Entry, hourly};
use analysis::plant::{EnergyPrice, Plant};
use analysis::reading::{Current, DeviceId, Energy, Power, Span, Time, Voltage};
use proptest::prelude::*;
use tests::assert_close;
use tests::plant::{START, plant, two_inverters};

/// An hour adds up some dozen numbers of at most 1e5 Wh, each good to 1e-11 of that.
const TOLERANCE_WH: f64 = 1e-6;
const SLOT: Span = Span::from_min(5);
/// Slots of the balance: most of a day.
const SLOTS: i64 = 200;

fn watts(most: f64) -> impl Strategy<Value = Option<Power>> {
    // An inverter at night takes a little.
    prop::option::weighted(0.8, (-50.0..most).prop_map(Power::from_w))
}

fn limit() -> impl Strategy<Value = Option<Limit>> {
    prop::option::weighted(0.4, prop::sample::select(Limit::ALL))
}

fn input() -> impl Strategy<Value = InputSlot> {
    let gates = vec![
        Gate::Valid,
        Gate::Dark,
        Gate::Unsteady,
        Gate::Limited,
        Gate::NotProducing,
        Gate::NoWeather,
        Gate::NotMeasured,
    ];
    let point = || prop::option::weighted(0.8, (0.0..900.0f64, 0.0..30.0f64));
    let parts = (point(), point(), prop::sample::select(gates), limit());
    parts.prop_map(|(measured, expected, gate, limit)| {
        let expected = expected.map(|(volts, amps)| InputExpected {
            voltage: Voltage::from_v(volts),
            current: Current::from_a(amps),
            sigma_voltage: Voltage::from_v(0.02 * volts),
            sigma_current: Current::from_a(0.03 * amps),
            sigma_power: Power::from_w(0.04 * volts * amps),
        });
        InputSlot {
            voltage: measured.map(|(volts, _)| Voltage::from_v(volts)),
            current: measured.map(|(_, amps)| Current::from_a(amps)),
            expected,
            gate,
            limit,
        }
    })
}

fn inverter(inputs: usize, rated_w: f64) -> impl Strategy<Value = InverterSlot> {
    let inputs = prop::collection::vec(input(), inputs);
    let producing = prop::option::of(any::<bool>());
    let powers = (watts(rated_w), watts(rated_w), watts(rated_w));
    (powers, limit(), producing, inputs).prop_map(
        |((measured, expected, shade), limit, producing, inputs)| InverterSlot {
            ac_power: measured,
            expected_ac_power: expected.filter(|p| p.w() >= 0.0),
            shade_ac_power: shade.filter(|p| p.w() >= 0.0),
            limit,
            producing,
            inputs,
        },
    )
}

/// Slots in order of time; some are missing.
fn slots() -> impl Strategy<Value = Vec<Slot>> {
    let starts = prop::collection::btree_set(0..SLOTS, 0..60);
    let inverters = (inverter(3, 25_000.0), inverter(2, 10_000.0));
    (starts, prop::collection::vec(inverters, 60)).prop_map(|(starts, inverters)| {
        let slot = |(n, (first, second)): (i64, (InverterSlot, InverterSlot))| Slot {
            start: START + SLOT * n,
            span: SLOT,
            air: None,
            wind: None,
            planes: Vec::new(),
            inverters: vec![first, second],
        };
        starts.into_iter().zip(inverters).map(slot).collect()
    })
}

fn finding() -> impl Strategy<Value = Finding> {
    let device = prop::sample::select(vec!["inv-1", "inv-2", "mast"]);
    let input = prop::option::of(1_u8..5);
    // Anywhere from before the first slot to after the last, to the minute.
    let began = -60..SLOTS * 5;
    let lasts = prop::option::of(0_i64..400);
    (prop::sample::select(Kind::ALL), device, input, began, lasts).prop_map(
        |(kind, device, input, began, lasts)| {
            let began = START + Span::from_min(began);
            let subject = Subject {
                device: DeviceId::new(device),
                input,
                string: None,
            };
            told(
                kind,
                subject,
                began,
                lasts.map(|min| began + Span::from_min(min)),
            )
        },
    )
}

fn told(kind: Kind, subject: Subject, began: Time, ended: Option<Time>) -> Finding {
    Finding {
        id: FindingId::new(&subject, kind, began),
        kind,
        severity: kind.severity(),
        began,
        found: began,
        ended,
        confidence: 1.0,
        causes: Vec::new(),
        evidence: Default::default(),
        lost: Energy::from_wh(0.0),
        summary: String::new(),
        advice: Vec::new(),
        caution: Vec::new(),
        subject,
    }
}

fn named(entry: &Entry) -> impl Iterator<Item = f64> {
    let findings = entry.findings.values().map(|e| e.wh());
    let limited = entry.limited.values().map(|e| e.wh());
    let rest = [entry.outage.wh(), entry.not_recorded.wh()];
    findings.chain(limited).chain(rest)
}

fn assert_balanced(plant: &Plant, slots: &[Slot], findings: &[Finding]) {
    let entries = hourly(plant, slots, findings);
    for entry in &entries {
        let sum = entry.measured.wh() + named(entry).sum::<f64>() + entry.unexplained.wh();
        assert_close!(sum, entry.expected.wh(), TOLERANCE_WH, format!("{entry:?}"));
        // What is written is the same balance, loss by loss.
        let written = entry.losses().map(|(_, energy)| energy.wh()).sum::<f64>();
        let written = entry.measured.wh() + written;
        assert_close!(written, entry.expected.wh(), TOLERANCE_WH, "written");
        assert!(named(entry).all(|wh| wh >= 0.0), "{entry:?}");
        assert!(entry.above_rated.wh() >= 0.0, "{entry:?}");
        assert_eq!(entry.hour, entry.hour.slot_start(Span::from_h(1)));
    }
    assert!(entries.is_sorted_by_key(|entry| (entry.hour, entry.inverter)));
    // Nothing has gone missing between slots and hours.
    let total: f64 = entries.iter().map(|entry| entry.expected.wh()).sum();
    let inverters = slots.iter().flat_map(|slot| &slot.inverters);
    let expected = inverters.filter_map(|inverter| {
        let shade_w = inverter.shade_ac_power.map_or(0.0, Power::w);
        let in_shade = inverter.expected_ac_power?;
        Some(Power::from_w(in_shade.w() + shade_w))
    });
    let wanted: f64 = expected.map(|power| (power * SLOT).wh()).sum();
    assert_close!(total, wanted, TOLERANCE_WH, "all hours");
    let produced = entries
        .iter()
        .map(|entry| entry.measured.wh() + entry.not_compared.wh());
    let measured = slots.iter().flat_map(|slot| &slot.inverters);
    let measured = measured.filter_map(|inverter| {
        let measured_w = inverter.ac_power?.w();
        let is_compared = inverter.expected_ac_power.is_some();
        Some(if is_compared {
            measured_w
        } else {
            measured_w.max(0.0)
        })
    });
    let wanted: f64 = measured.map(|w| (Power::from_w(w) * SLOT).wh()).sum();
    assert_close!(
        produced.sum(),
        wanted,
        TOLERANCE_WH,
        "all that was produced"
    );
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 64,
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn the_ledger_balances(
        slots in slots(),
        findings in prop::collection::vec(finding(), 0..12),
    ) {
        assert_balanced(&plant(&two_inverters()), &slots, &findings);
    }
}

/// One slot of the first inverter: each input at 500 V, with amperes measured and expected; the
/// measured AC power is theirs without loss.
fn slot_of(limit: Option<Limit>, inputs: [(f64, f64, Option<Limit>); 3]) -> Slot {
    let input = |(amps, expected_amps, limit): (f64, f64, Option<Limit>)| InputSlot {
        voltage: Some(Voltage::from_v(500.0)),
        current: Some(Current::from_a(amps)),
        expected: Some(InputExpected {
            voltage: Voltage::from_v(500.0),
            current: Current::from_a(expected_amps),
            sigma_voltage: Voltage::from_v(5.0),
            sigma_current: Current::from_a(0.2),
            sigma_power: Power::from_w(1.0),
        }),
        gate: Gate::Valid,
        limit,
    };
    let power = |amps: f64| Some(Power::from_w(500.0 * amps));
    let idle = InverterSlot {
        ac_power: None,
        expected_ac_power: None,
        shade_ac_power: None,
        limit: None,
        producing: None,
        inputs: Vec::new(),
    };
    let first = InverterSlot {
        ac_power: power(inputs.iter().map(|i| i.0).sum()),
        expected_ac_power: power(inputs.iter().map(|i| i.1).sum()),
        shade_ac_power: None,
        limit,
        producing: Some(true),
        inputs: inputs.map(input).to_vec(),
    };
    Slot {
        start: START,
        span: SLOT,
        air: None,
        wind: None,
        planes: Vec::new(),
        inverters: vec![first, idle],
    }
}

/// Ampere of an input for five minutes at 500 V.
fn energy_wh(amps: f64) -> f64 {
    500.0 * amps / 12.0
}

#[test]
fn the_limit_of_an_input_takes_what_that_input_missed_and_the_inverters_takes_all() {
    let plant = plant(&two_inverters());
    let limits = [None, Some(Limit::InputCurrent), Some(Limit::TrackingLow)];
    let inputs = [
        (9.0, 10.0, limits[0]),
        (8.0, 11.0, limits[1]),
        (4.0, 6.0, limits[2]),
    ];
    let alone = &hourly(&plant, &[slot_of(None, inputs)], &[])[0];
    let of = |entry: &Entry, limit| entry.limited.get(&limit).map_or(0.0, |e| e.wh());
    for (found, amps, label) in [
        (of(alone, Limit::InputCurrent), 3.0, "input current"),
        (of(alone, Limit::TrackingLow), 2.0, "tracking window"),
        (alone.limited_total().wh(), 5.0, "both"),
        (alone.unexplained.wh(), 1.0, "unexplained"),
    ] {
        assert_close!(found, energy_wh(amps), TOLERANCE_WH, label);
    }

    let whole = inputs.map(|(amps, expected, _)| (amps, expected, None));
    let whole = &hourly(&plant, &[slot_of(Some(Limit::Command), whole)], &[])[0];
    assert_close!(
        of(whole, Limit::Command),
        energy_wh(6.0),
        TOLERANCE_WH,
        "command"
    );
    assert_close!(whole.unexplained.wh(), 0.0, TOLERANCE_WH, "nothing left");
}

#[test]
fn a_finding_costs_nothing_while_a_limit_holds_its_input_back() {
    let plant = plant(&two_inverters());
    let subject = Subject::input(&DeviceId::new("inv-1"), 2);
    let open = told(Kind::StringOpen, subject, START, None);
    let cost = |limit, own| {
        let slot = slot_of(
            limit,
            [(10.0, 10.0, None), (5.0, 10.0, own), (6.0, 6.0, None)],
        );
        let entry = hourly(&plant, &[slot], std::slice::from_ref(&open)).swap_remove(0);
        let lost = entry
            .findings
            .get(&Kind::StringOpen)
            .map_or(0.0, |e| e.wh());
        (lost, entry.limited_total().wh())
    };
    let (lost, limited) = cost(None, None);
    assert_close!(lost, energy_wh(5.0), TOLERANCE_WH, "the finding alone");
    assert_eq!(limited, 0.0);
    for (limit, own) in [
        (Some(Limit::VoltWatt), None),
        (None, Some(Limit::InputCurrent)),
    ] {
        let (lost, limited) = cost(limit, own);
        assert_eq!(lost, 0.0);
        assert_close!(limited, energy_wh(5.0), TOLERANCE_WH, "the limit");
    }
}

/// What a finding on the whole inverter costs in a slot in which it misses 5 A at 500 V.
fn booked(kind: Kind, producing: Option<bool>) -> Entry {
    let plant = plant(&two_inverters());
    let told = told(kind, Subject::device(&DeviceId::new("inv-1")), START, None);
    let inputs = [(5.0, 10.0, None), (10.0, 10.0, None), (6.0, 6.0, None)];
    let mut slot = slot_of(None, inputs);
    slot.inverters[0].producing = producing;
    hourly(&plant, &[slot], &[told]).swap_remove(0)
}

#[test]
fn a_finding_on_an_inverter_costs_nothing_while_that_works() {
    for kind in [
        Kind::GridTrip,
        Kind::IsolationLow,
        Kind::ResidualCurrentHigh,
        Kind::InverterOff,
        Kind::Snow,
    ] {
        let label = format!("{kind:?}");
        let works = booked(kind, Some(true));
        assert!(works.findings.is_empty(), "{works:?}");
        assert_close!(works.unexplained.wh(), energy_wh(5.0), TOLERANCE_WH, label);
        let stands = booked(kind, Some(false));
        let lost = stands.findings[&kind].wh();
        assert_close!(lost, energy_wh(5.0), TOLERANCE_WH, label);
        assert_eq!(stands.unexplained.wh(), 0.0, "{label}");
    }
    // A pattern is no loss of its own.
    let pattern = booked(Kind::GridTripsRepeated, Some(false));
    assert!(pattern.findings.is_empty(), "{pattern:?}");
}

#[test]
fn a_standstill_that_no_finding_explains_is_an_outage() {
    let plant = plant(&two_inverters());
    let dead = [(0.0, 10.0, None), (0.0, 10.0, None), (0.0, 6.0, None)];
    let outage = |gate, limit| {
        let mut slot = slot_of(limit, dead);
        slot.inverters[0].producing = Some(false);
        slot.inverters[0]
            .inputs
            .iter_mut()
            .for_each(|i| i.gate = gate);
        hourly(&plant, &[slot], &[]).swap_remove(0)
    };
    let in_light = outage(Gate::NotProducing, None);
    assert_close!(
        in_light.outage.wh(),
        energy_wh(26.0),
        TOLERANCE_WH,
        "outage"
    );
    assert_eq!(in_light.unexplained.wh(), 0.0);
    // At dawn no inverter has to work, and one that sleeps is named so.
    let at_dawn = outage(Gate::Dark, None);
    assert_eq!(at_dawn.outage.wh(), 0.0);
    assert_close!(
        at_dawn.unexplained.wh(),
        energy_wh(26.0),
        TOLERANCE_WH,
        "dawn"
    );
    let asleep = outage(Gate::NotProducing, Some(Limit::Asleep));
    assert_eq!(asleep.outage.wh(), 0.0);
    assert_close!(
        asleep.limited_total().wh(),
        energy_wh(26.0),
        TOLERANCE_WH,
        "asleep"
    );
}

#[test]
fn two_findings_on_one_input_do_not_cost_what_it_misses_twice() {
    let plant = plant(&two_inverters());
    let subject = Subject::input(&DeviceId::new("inv-1"), 2);
    let findings =
        [Kind::StringOpen, Kind::CurrentLow].map(|kind| told(kind, subject.clone(), START, None));
    let inputs = [(6.0, 10.0, None), (5.0, 10.0, None), (6.0, 6.0, None)];
    let entry = hourly(&plant, &[slot_of(None, inputs)], &findings).swap_remove(0);
    let lost: f64 = entry.findings.values().map(|e| e.wh()).sum();
    assert_close!(lost, energy_wh(5.0), TOLERANCE_WH, "once");
    assert_close!(
        entry.unexplained.wh(),
        energy_wh(4.0),
        TOLERANCE_WH,
        "the other input"
    );
}

#[test]
fn money_of_the_parts_adds_up_to_that_of_the_whole() {
    let price = EnergyPrice {
        per_kwh: 0.28,
        currency: "AUD".to_owned(),
    };
    let entry = booked(Kind::GridTrip, Some(false));
    let parts: f64 = entry.losses().map(|(_, energy)| price.of(energy)).sum();
    let whole = price.of(entry.expected) - price.of(entry.measured);
    assert_close!(parts, whole, TOLERANCE_WH, "money");
    assert_close!(
        price.of(Energy::from_wh(2500.0)),
        0.7,
        TOLERANCE_WH,
        "2.5 kWh"
    );
}

#[test]
fn what_a_kind_costs_follows_from_its_kind() {
    // Soiling is told of the whole inverter, and costs what its inputs miss while it works.
    let soiled = booked(Kind::Soiling, Some(true));
    let lost = soiled.findings[&Kind::Soiling].wh();
    assert_close!(lost, energy_wh(5.0), TOLERANCE_WH, "soiling");
    // Age has a rate, and takes nothing that nobody has explained.
    let aged = booked(Kind::Degradation, Some(true));
    assert!(aged.findings.is_empty(), "{aged:?}");
    // Between DC and AC: the inverter passes on 97 % of 21 A; here one ampere less came out.
    let plant = plant(&two_inverters());
    let low = told(
        Kind::EfficiencyLow,
        Subject::device(&DeviceId::new("inv-1")),
        START,
        None,
    );
    let inputs = [(5.0, 5.0, None), (10.0, 10.0, None), (6.0, 6.0, None)];
    let mut slot = slot_of(None, inputs);
    slot.inverters[0].expected_ac_power = Some(Power::from_w(0.97 * 21.0 * 500.0));
    slot.inverters[0].ac_power = Some(Power::from_w((0.97 * 21.0 - 1.0) * 500.0));
    let entry = hourly(&plant, &[slot], &[low]).swap_remove(0);
    let lost = entry.findings[&Kind::EfficiencyLow].wh();
    assert_close!(lost, energy_wh(1.0), TOLERANCE_WH, "conversion");
    assert_close!(entry.unexplained.wh(), 0.0, TOLERANCE_WH, "nothing left");
    // Every kind has one place in the ledger, or none.
    let mut kinds: Vec<Kind> = Kind::costly().collect();
    let count = kinds.len();
    kinds.sort();
    kinds.dedup();
    assert_eq!(kinds.len(), count);
    let free = Kind::ALL.iter().filter(|kind| kind.cost() == Cost::Nothing);
    assert_eq!(count + free.count(), Kind::ALL.len());
}
