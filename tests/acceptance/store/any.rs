//! Whatever can be committed reads back the same.

use super::{BEGINNING, END, layout, reading, readings};
use analysis::array::Limit;
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::{Cause, Finding, FindingId, Subject};
use analysis::expected::{InputExpected, WeatherRung};
use analysis::reading::{
    Current, DeviceId, Energy, Irradiance, Power, Reading, Span, Speed, Temperature, Time, Value,
    Voltage,
};
use daemon::store::{EngineState, Step, Store};
use proptest::collection::{btree_map, vec};
use proptest::prelude::*;

fn number() -> impl Strategy<Value = f64> {
    use proptest::num::f64::{NEGATIVE, NORMAL, POSITIVE, SUBNORMAL, ZERO};
    POSITIVE | NEGATIVE | NORMAL | SUBNORMAL | ZERO
}

fn any_value() -> impl Strategy<Value = Value> {
    prop_oneof![
        number().prop_map(Value::Good),
        number().prop_map(Value::OutOfRange),
        Just(Value::Missing),
        number().prop_map(|number| Value::Faulty(Some(number))),
        Just(Value::Faulty(None)),
    ]
}

fn any_readings() -> impl Strategy<Value = Vec<Reading>> {
    let by_key = btree_map((0..3_u16, any::<i64>()), any_value(), 0..20);
    by_key.prop_map(|by_key| {
        let reading = |((channel, at), value)| reading(channel, at, value);
        by_key.into_iter().map(reading).collect()
    })
}

fn any_plane() -> impl Strategy<Value = PlaneSlot> {
    let rung = prop::sample::select(vec![
        WeatherRung::PlaneSensor,
        WeatherRung::HorizontalWithDiffuse,
        WeatherRung::HorizontalOnly,
        WeatherRung::ScaledClearSky,
    ]);
    let poa = prop::option::of((number().prop_map(Irradiance::from_w_m2), rung));
    let cell = prop::option::of(number().prop_map(Temperature::from_degc));
    (poa, cell).prop_map(|(poa, cell)| PlaneSlot { poa, cell })
}

fn any_expected() -> impl Strategy<Value = InputExpected> {
    let numbers = [number(), number(), number(), number(), number()];
    numbers.prop_map(|[v, a, sigma_v, sigma_a, sigma_w]| InputExpected {
        voltage: Voltage::from_v(v),
        current: Current::from_a(a),
        sigma_voltage: Voltage::from_v(sigma_v),
        sigma_current: Current::from_a(sigma_a),
        sigma_power: Power::from_w(sigma_w),
    })
}

fn any_limit() -> impl Strategy<Value = Option<Limit>> {
    prop::option::of(prop::sample::select(Limit::ALL))
}

fn any_input() -> impl Strategy<Value = InputSlot> {
    let gate = prop::sample::select(vec![
        Gate::Valid,
        Gate::Dark,
        Gate::Unsteady,
        Gate::Limited,
        Gate::NotProducing,
        Gate::NoWeather,
        Gate::NotMeasured,
    ]);
    let voltage = prop::option::of(number().prop_map(Voltage::from_v));
    let current = prop::option::of(number().prop_map(Current::from_a));
    let expected = prop::option::of(any_expected());
    (voltage, current, expected, gate, any_limit()).prop_map(
        |(voltage, current, expected, gate, limit)| InputSlot {
            voltage,
            current,
            expected,
            gate,
            limit,
        },
    )
}

fn any_inverter(inputs: usize) -> impl Strategy<Value = InverterSlot> {
    let power = || prop::option::of(number().prop_map(Power::from_w));
    let inputs = vec(any_input(), inputs);
    let producing = prop::option::of(any::<bool>());
    (power(), power(), power(), any_limit(), producing, inputs).prop_map(
        |(ac_power, expected_ac_power, shade_ac_power, limit, producing, inputs)| InverterSlot {
            ac_power,
            expected_ac_power,
            shade_ac_power,
            limit,
            producing,
            inputs,
        },
    )
}

fn any_slots() -> impl Strategy<Value = Vec<Slot>> {
    let air = prop::option::of(number().prop_map(Temperature::from_degc));
    let wind = prop::option::of(number().prop_map(Speed::from_m_s));
    let parts = (
        any::<i64>(),
        (air, wind),
        vec(any_plane(), 2),
        (any_inverter(2), any_inverter(1)),
    );
    btree_map(any::<i64>(), parts, 0..4).prop_map(|by_start| {
        let slot = |(start, (span, (air, wind), planes, (first, second)))| Slot {
            start: Time::from_unix_ms(start),
            span: Span::from_ms(span),
            air,
            wind,
            planes,
            inverters: vec![first, second],
        };
        by_start.into_iter().map(slot).collect()
    })
}

fn any_finding() -> impl Strategy<Value = Finding> {
    let kind = prop::sample::select(vec![
        Kind::InputDead,
        Kind::StringOpen,
        Kind::Snow,
        Kind::IsolationLow,
        Kind::GridTrip,
    ]);
    let subject = (any::<Option<u8>>(), any::<Option<String>>());
    let times = (any::<i32>(), any::<i64>(), any::<Option<i64>>());
    let causes = vec((any::<String>(), number()), 0..3);
    let numbers = (
        number(),
        btree_map(any::<String>(), number(), 0..4),
        number(),
    );
    let texts = (any::<String>(), any::<Vec<String>>(), any::<Vec<String>>());
    (kind, subject, times, causes, numbers, texts).prop_map(
        |(kind, (input, string), (began, found, ended), causes, numbers, texts)| {
            let subject = Subject {
                device: DeviceId::new("inv-1"),
                input,
                string,
            };
            let began = Time::from_unix_ms(i64::from(began) * 1000);
            let cause = |(cause, probability)| Cause { cause, probability };
            Finding {
                id: FindingId::new(&subject, kind, began),
                subject,
                kind,
                severity: kind.severity(),
                began,
                found: Time::from_unix_ms(found),
                ended: ended.map(Time::from_unix_ms),
                confidence: numbers.0,
                causes: causes.into_iter().map(cause).collect(),
                evidence: numbers.1,
                lost: Energy::from_wh(numbers.2),
                summary: texts.0,
                advice: texts.1,
                caution: texts.2,
            }
        },
    )
}

proptest! {
    #[test]
    fn whatever_is_committed_reads_back_the_same(
        made in any_readings(),
        slots in any_slots(),
        finding in any_finding(),
        bytes in any::<Vec<u8>>(),
        version in any::<u32>(),
    ) {
        let mut store = Store::in_memory(&layout()).expect("memory needs no file");
        let engine_state = EngineState { version, bytes };
        let step = Step {
            readings: &made,
            slots: &slots,
            findings: std::slice::from_ref(&finding),
            ..Step::nothing(&engine_state)
        };
        store.commit(&step).expect("the step fits the plant");
        // The last millisecond of time is outside a range that is open at its end.
        let end = |at: Time| at != END;
        let back: Vec<Reading> = (0..3).flat_map(|channel| readings(&store, channel)).collect();
        let wanted: Vec<Reading> = made.iter().copied().filter(|r| end(r.at)).collect();
        prop_assert_eq!(back, wanted);
        let wanted: Vec<Slot> = slots.iter().filter(|s| end(s.start)).cloned().collect();
        for i in 0..layout().inverters.len() {
            let own = store.slots_of(i, BEGINNING, END).expect("reads");
            let own = own.iter().map(|slot| (slot.start, &slot.planes, &slot.inverters[i]));
            let of_all = wanted.iter().map(|slot| (slot.start, &slot.planes, &slot.inverters[i]));
            prop_assert!(own.eq(of_all), "inverter {}", i);
        }
        prop_assert_eq!(store.slots(BEGINNING, END).expect("reads"), wanted);
        prop_assert_eq!(store.findings().expect("reads"), vec![finding]);
        prop_assert_eq!(store.load_engine_state().expect("reads"), Some(engine_state));
    }
}
