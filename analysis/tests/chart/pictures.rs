//! The small pictures of a report: XML that any reader takes, nothing outside the picture, and none
//! where there is nothing to show.

use super::plant;
use analysis::chart::{
    CloudCell, CloudInput, CloudLevel, Digest, HistoryDay, HistoryInput, HoursInput, LedgerBar,
    LedgerInput, MOST_PARTS, MorningsInput, Picture, Size, SummaryInput, SupplyInput, SupplyPoint,
    WIDTH_PX, cloud_picture, history_picture, hours_picture, input_day_picture, ledger_picture,
    mornings_picture, shows_days, summary_svg, supply_picture,
};
use analysis::detect::{Gate, Morning};
use analysis::reading::{Resistance, Span, Time, Voltage};
use proptest::collection::vec;
use proptest::prelude::*;

/// A year from the example's beginning.
const YEAR: (Time, Time) = (
    plant::START,
    Time::from_unix_ms(1_741_561_200_000 + 31_536_000_000),
);

/// Fails unless the SVG is XML and everything in it lies inside its picture.
fn check(picture: &Picture) -> Result<(), TestCaseError> {
    let xml = roxmltree::Document::parse(&picture.svg);
    let xml = xml.map_err(|error| TestCaseError::fail(format!("{error}: {}", picture.title)))?;
    let root = xml.root_element();
    let view = root.attribute("viewBox").expect("every picture has one");
    let view: Vec<f64> = numbers(view);
    let (width, height) = (view[2], view[3]);
    prop_assert!(width > 100.0 && height > 100.0, "{view:?}");
    prop_assert!(!picture.title.is_empty() && !picture.reading.is_empty());
    let inside = |x: f64, y: f64, what: &str| {
        // One unit is a quarter of a pixel: rounding.
        let fits = (-1.0..=width + 1.0).contains(&x) && (-1.0..=height + 1.0).contains(&y);
        prop_assert!(
            fits,
            "{what} at {x} {y} of {width} x {height}: {}",
            picture.title
        );
        Ok(())
    };
    for node in xml.descendants().filter(|node| node.is_element()) {
        let number = |name: &str| node.attribute(name).and_then(|n| n.parse::<f64>().ok());
        match node.tag_name().name() {
            "svg" => {}
            "rect" => {
                let at = ["x", "y", "width", "height"].map(number);
                let [Some(x), Some(y), Some(w), Some(h)] = at else {
                    return Err(TestCaseError::fail(format!("{node:?}")));
                };
                prop_assert!(w > 0.0 && h > 0.0, "{node:?}");
                inside(x, y, "rect")?;
                inside(x + w, y + h, "rect")?;
            }
            "polyline" | "polygon" => {
                let points = node.attribute("points").expect("it has points");
                for point in numbers(&points.replace(',', " ")).chunks_exact(2) {
                    inside(point[0], point[1], "line")?;
                }
            }
            "line" => {
                let at = ["x1", "y1", "x2", "y2"].map(|n| number(n).expect("a number"));
                inside(at[0], at[1], "line")?;
                inside(at[2], at[3], "line")?;
            }
            "text" => {
                /// Of digits and lower case letters together, in the mean.
                const ADVANCE_EM: f64 = 0.52;
                let (x, y) = (number("x").expect("x"), number("y").expect("y"));
                let text = node.text().unwrap_or_default().trim();
                let em = number("font-size").expect("a size");
                let wide = ADVANCE_EM * em * text.chars().count() as f64;
                let left = match node.attribute("text-anchor") {
                    Some("middle") => x - wide / 2.0,
                    Some("end") => x - wide,
                    _ => x,
                };
                inside(left.max(0.0), y, text)?;
                // The estimate may be off by an eighth.
                inside(left + 0.88 * wide, y + em, text)?;
            }
            other => return Err(TestCaseError::fail(format!("an element {other}"))),
        }
    }
    Ok(())
}

fn numbers(text: &str) -> Vec<f64> {
    let words = text.split_whitespace();
    words.map(|word| word.parse().expect("a number")).collect()
}

fn name() -> impl Strategy<Value = String> {
    prop::sample::select(vec!["inv-1 input 2", "a & b <c>", "Hof\u{0}stall Süd", "x"])
        .prop_map(str::to_owned)
}

fn kwh() -> impl Strategy<Value = f64> {
    prop_oneof![3 => 0.0..4000.0f64, 1 => Just(0.0), 1 => 0.0..1e7f64, 1 => 0.0..1e-3f64]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    #[test]
    fn bars_of_the_ledger(
        bars in vec((kwh(), kwh(), vec(-5.0..900.0f64, MOST_PARTS)), 0..70),
        parts in 0..=MOST_PARTS,
        part in name(),
    ) {
        let bars: Vec<LedgerBar> = bars.into_iter().enumerate().map(|(n, (expected, measured, missing))| {
            LedgerBar {
                label: format!("{n} Nov"),
                expected_kwh: expected,
                measured_kwh: measured,
                missing_kwh: missing.into_iter().take(parts).collect(),
            }
        }).collect();
        let input = LedgerInput { unit: "day", bars: &bars, parts: &vec![part; parts] };
        let something = bars.iter().any(|bar| bar.expected_kwh > 0.0 || bar.measured_kwh > 0.0);
        let picture = ledger_picture(&input).expect("it can be drawn");
        prop_assert_eq!(picture.is_some(), something);
        if let Some(picture) = picture { check(&picture)?; }
    }

    #[test]
    fn the_history_of_an_input(
        days in vec((0i64..365, 0.0..1.7f64, 0.0..1.2f64), 0..200),
        findings in vec((-5i64..365, 0i64..400), 0..4),
        name in name(),
    ) {
        let at = |day: i64| YEAR.0 + Span::from_h(24 * day + 12);
        let mut days: Vec<_> = days.into_iter().map(|(day, current_ratio, voltage_ratio)| {
            HistoryDay { at: at(day), current_ratio, voltage_ratio }
        }).collect();
        days.sort_by_key(|day| day.at);
        let findings: Vec<_> = findings.into_iter().map(|(day, long)| (at(day), at(day + long))).collect();
        let input = HistoryInput {
            name: &name,
            period: YEAR,
            days: &days,
            findings: &findings,
            utc_offset: &plant::utc_offset,
        };
        let picture = history_picture(&input).expect("it can be drawn");
        prop_assert_eq!(picture.is_some(), days.len() >= 3);
        if let Some(picture) = picture { check(&picture)?; }
    }

    #[test]
    fn the_place_on_the_curve(
        cells in vec((0.0..1.6f64, 0.0..1.6f64, 1u32..5000, any::<bool>()), 0..200),
        levels in vec((0.0..1.6f64, 0.0..1.6f64), 0..5),
        name in name(),
        width_px in prop::sample::select(vec![280, 350, WIDTH_PX]),
    ) {
        let cells: Vec<_> = cells.into_iter().map(|(voltage_ratio, current_ratio, count, in_finding)| {
            CloudCell { voltage_ratio, current_ratio, count, in_finding }
        }).collect();
        let level = |(n, (v, i)): (usize, (f64, f64))| CloudLevel {
            from_w_m2: 100.0 + 200.0 * n as f64,
            // A median lies where points are.
            voltage_ratio: cells.first().map_or(v, |cell| cell.voltage_ratio),
            current_ratio: cells.first().map_or(i, |cell| cell.current_ratio),
        };
        let levels: Vec<_> = levels.into_iter().enumerate().map(level).collect();
        let curve = [(0.0, 1.07), (0.8, 1.05), (1.0, 1.0), (1.1, 0.8), (1.25, 0.0)];
        let input = CloudInput { name: &name, cell_ratio: 0.01, cells: &cells, levels: &levels, curve: &curve, width_px };
        let picture = cloud_picture(&input).expect("it can be drawn");
        prop_assert_eq!(picture.is_some(), !cells.is_empty());
        if let Some(picture) = picture { check(&picture)?; }
    }

    #[test]
    fn insulation_by_morning(
        mornings in vec((-3i64..370, prop::option::of(2.0..9.0f32), prop::option::of(any::<bool>())), 0..90),
        limit_ohm in 1e3..1e6f64,
        name in name(),
    ) {
        let mut mornings: Vec<_> = mornings.into_iter().map(|(day, log10_ohm, is_wet)| Morning {
            at: YEAR.0 + Span::from_h(24 * day + 6),
            log10_ohm,
            is_wet,
            temperature_degc: None,
            is_low: false,
            lost_min: 0,
        }).collect();
        mornings.sort_by_key(|morning| morning.at);
        let input = MorningsInput {
            name: &name,
            period: YEAR,
            mornings: &mornings,
            limit: Resistance::from_ohm(limit_ohm),
            utc_offset: &plant::utc_offset,
        };
        let shown = mornings.iter().any(|m| {
            m.log10_ohm.is_some() && YEAR.0 <= m.at && m.at < YEAR.1
        });
        let picture = mornings_picture(&input).expect("it can be drawn");
        prop_assert_eq!(picture.is_some(), shown);
        if let Some(picture) = picture { check(&picture)?; }
    }

    #[test]
    fn the_supply(
        points in vec((0.0..40.0f64, 180.0..280.0f64), 0..120),
        limit_v in prop::option::of(240.0..262.0f64),
        trips in vec(prop_oneof![3 => Just(0u32), 1 => 1u32..400], 24),
        name in name(),
    ) {
        let points: Vec<_> = points.into_iter().map(|(export_kw, voltage_v)| {
            SupplyPoint { export_kw, voltage_v }
        }).collect();
        let input = SupplyInput { name: &name, span: "hour", points: &points, limit_v, rated_kw: 25.0 };
        let picture = supply_picture(&input).expect("it can be drawn");
        prop_assert_eq!(picture.is_some(), points.len() >= 20);
        if let Some(picture) = picture { check(&picture)?; }
        let trips: [u32; 24] = trips.try_into().expect("24 hours");
        let picture = hours_picture(&HoursInput { name: &name, trips: &trips }).expect("it can be drawn");
        prop_assert_eq!(picture.is_some(), trips.iter().any(|n| *n > 0));
        if let Some(picture) = picture { check(&picture)?; }
    }
}

fn input<'a>(
    plant: &'a analysis::plant::Plant,
    slots: &'a [analysis::detect::Slot],
) -> SummaryInput<'a> {
    SummaryInput {
        site_name: &plant.site.name,
        plant,
        slots,
        findings: &[],
        utc_offset: &plant::utc_offset,
    }
}

#[test]
fn a_day_of_an_input_shows_its_own_gates_and_says_why_it_was_chosen() {
    let plant = plant::plant();
    let mut slots = plant::slots(&plant, 1);
    // A gate that only another input has.
    for slot in &mut slots {
        slot.inverters[0].inputs[0].gate = Gate::NoWeather;
        slot.inverters[0].inputs[1].gate = Gate::Valid;
    }
    let input = input(&plant, &slots);
    let picture = input_day_picture(&input, (0, 1), "2025-03-10, the last clear day");
    let picture = picture.expect("it can be drawn").expect("there are slots");
    check(&picture).expect("nothing is outside");
    assert!(picture.title.contains("inv-1 input 2"), "{}", picture.title);
    assert!(picture.svg.contains("the last clear day"));
    assert!(!picture.svg.contains("no irradiance"));
    let other = input_day_picture(&input, (0, 0), "why").expect("it can be drawn");
    assert!(
        other
            .expect("there are slots")
            .svg
            .contains("no irradiance")
    );
    let none = SummaryInput {
        slots: &[],
        ..input
    };
    assert_eq!(input_day_picture(&none, (0, 1), "why"), Ok(None));
}

/// The picture of a long period shows each day as one point: three slots a day stand for all.
#[test]
fn the_digest_of_a_long_period_draws_the_same_lines_as_all_of_its_slots() {
    const DAYS: i64 = 120;
    let plant = plant::plant();
    let mut slots = plant::slots(&plant, DAYS);
    // The axis of a voltage begins at the lowest tested value, which a digest does not know: here all
    // are the same.
    let inverters = slots.iter_mut().flat_map(|slot| &mut slot.inverters);
    for input in inverters.flat_map(|inverter| &mut inverter.inputs) {
        input.voltage = input.voltage.map(|_| Voltage::from_v(500.0));
        if let Some(expected) = &mut input.expected {
            expected.voltage = Voltage::from_v(500.0);
            expected.sigma_voltage = Voltage::from_v(5.0);
        }
    }
    let period = (plant::START, plant::START + Span::from_h(24 * DAYS));
    assert!(shows_days(period, Size::default(), &plant::utc_offset));
    let short = (plant::START, plant::START + Span::from_h(24 * 60));
    assert!(!shows_days(short, Size::default(), &plant::utc_offset));
    let mut digest = Digest::default();
    for slot in &slots {
        let local = slot.start + plant::utc_offset(slot.start);
        digest.add(slot, local.unix_ms().div_euclid(86_400_000));
    }
    let digest = digest.finish();
    assert!(digest.len() <= 3 * DAYS as usize, "{}", digest.len());
    let drawn = |slots: &[analysis::detect::Slot]| {
        let svg = summary_svg(&input(&plant, slots), Size::default()).expect("it can be drawn");
        // Measured lines, by their points.
        let lines = svg
            .split("<polyline")
            .filter(|line| line.contains("#181C24"));
        let points = lines.filter_map(|line| line.split("points=\"").nth(1)?.split('"').next());
        points.map(str::to_owned).collect::<Vec<_>>()
    };
    let (all, few) = (drawn(&slots), drawn(&digest));
    assert!(all.len() > 5, "{}", all.len());
    assert_eq!(all, few);
}
