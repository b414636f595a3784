//! Whatever the slots and findings hold, the picture is drawn or refused; it never panics and no
//! number of it is broken.

use super::plant;
use analysis::chart::{ChartError, Size, SummaryInput, summary_rgb, summary_svg};
use analysis::detect::{Gate, InputSlot, InverterSlot, Kind, PlaneSlot, Slot};
use analysis::diagnose::Finding;
use analysis::expected::{InputExpected, WeatherRung};
use analysis::reading::{Current, Irradiance, Power, Span, Time, Voltage};
use proptest::prelude::*;

fn value() -> impl Strategy<Value = f64> {
    prop_oneof![
        4 => -20.0..900.0,
        1 => Just(0.0),
        1 => -1e9..1e9f64,
        1 => -1e-9..1e-9f64,
    ]
}

fn gate() -> impl Strategy<Value = Gate> {
    prop::sample::select(vec![
        Gate::Valid,
        Gate::Dark,
        Gate::Unsteady,
        Gate::Limited,
        Gate::NotProducing,
        Gate::NoWeather,
        Gate::NotMeasured,
    ])
}

prop_compose! {
    fn input_slot()(
        voltage in prop::option::of(value()),
        current in prop::option::of(value()),
        expected in prop::option::of((value(), value(), value(), value())),
        gate in gate(),
    ) -> InputSlot {
        InputSlot {
            voltage: voltage.map(Voltage::from_v),
            current: current.map(Current::from_a),
            expected: expected.map(|(v, i, sv, si)| InputExpected {
                voltage: Voltage::from_v(v),
                current: Current::from_a(i),
                sigma_voltage: Voltage::from_v(sv),
                sigma_current: Current::from_a(si),
                sigma_power: Power::from_w(sv * i + v * si),
            }),
            gate,
            limit: None,
        }
    }
}

prop_compose! {
    /// A slot of a plant with two planes and one inverter of two inputs, after a gap.
    fn slot()(
        gap_ms in prop_oneof![3 => Just(0i64), 1 => 1..90_000_000i64],
        span_ms in prop_oneof![3 => Just(300_000i64), 1 => 1..90_000_000i64],
        poa in prop::collection::vec(prop::option::of(value()), 2),
        ac in prop::option::of(value()),
        expected_ac in prop::option::of(value()),
        inputs in prop::collection::vec(input_slot(), 2),
    ) -> (i64, Slot) {
        let planes = poa.into_iter().map(|poa| PlaneSlot {
            poa: poa.map(|w| (Irradiance::from_w_m2(w), WeatherRung::HorizontalOnly)),
            cell: None,
        });
        let inverter = InverterSlot {
            ac_power: ac.map(Power::from_w),
            expected_ac_power: expected_ac.map(Power::from_w),
            shade_ac_power: None,
            limit: None,
            producing: None,
            inputs,
        };
        (gap_ms, Slot {
            start: Time::from_unix_ms(0),
            span: Span::from_ms(span_ms),
            air: None,
            wind: None,
            planes: planes.collect(),
            inverters: vec![inverter],
        })
    }
}

prop_compose! {
    fn slots()(
        start in prop_oneof![Just(0i64), 0..30_000_000_000_000i64],
        pieces in prop::collection::vec(slot(), 1..80),
    ) -> Vec<Slot> {
        let mut at = Time::from_unix_ms(start);
        pieces
            .into_iter()
            .map(|(gap_ms, slot)| {
                let start = at + Span::from_ms(gap_ms);
                at = start + slot.span;
                Slot { start, ..slot }
            })
            .collect()
    }
}

/// Around and beyond the period, which begins at `from`.
fn findings(from: Time) -> impl Strategy<Value = Vec<Finding>> {
    let kinds = vec![
        Kind::Snow,
        Kind::GridTrip,
        Kind::StringOpen,
        Kind::IsolationLow,
    ];
    let one = (
        prop::sample::select(vec!["wide", "mast", "other"]),
        prop::option::of(0u8..4),
        prop::sample::select(kinds),
        0i64..400_000_000,
        prop::option::of(0i64..400_000_000),
    );
    let one = one.prop_map(move |(device, input, kind, after, lasts)| {
        let began = from + Span::from_ms(after);
        let ended = lasts.map(|ms| began + Span::from_ms(ms));
        plant::finding(device, input, None, kind, began, ended)
    });
    prop::collection::vec(one, 0..45)
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]
    #[test]
    fn any_slots_and_findings_are_drawn_without_broken_numbers(
        (slots, findings) in slots().prop_flat_map(|slots| {
            let from = slots[0].start;
            (Just(slots), findings(from))
        }),
        width_px in 640u32..1500,
        max_height_px in 300u32..2500,
    ) {
        let plant = plant::wide_plant(2);
        let input = SummaryInput {
            site_name: &plant.site.name,
            plant: &plant,
            slots: &slots,
            findings: &findings,
            utc_offset: &plant::utc_offset,
        };
        let size = Size { width_px, max_height_px };
        match summary_svg(&input, size) {
            Ok(svg) => {
                prop_assert!(!svg.contains("NaN") && !svg.contains("inf"));
                prop_assert!(!svg.contains("-2147483648") && !svg.contains("2147483647"));
                let picture = summary_rgb(&input, size).expect("the same as SVG");
                prop_assert!(picture.height_px <= max_height_px);
            }
            Err(ChartError::TooSmall { needed_height_px, .. }) => {
                prop_assert!(needed_height_px > max_height_px);
            }
            Err(other) => return Err(TestCaseError::fail(other.to_string())),
        }
    }
}
