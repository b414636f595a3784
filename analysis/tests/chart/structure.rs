//! What stands in the SVG of the example, counted by its text.

use super::plant;
use analysis::chart::{ChartError, Size, SummaryInput, summary_rgb, summary_svg};
use analysis::detect::{Kind, Slot};
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{Power, Span, Time};

/// A year of one inverter must stay well under what a mail server takes.
const MOST_SVG_BYTES: usize = 2_000_000;

struct Example {
    plant: Plant,
    slots: Vec<Slot>,
    findings: Vec<Finding>,
}

impl Example {
    fn days(days: i64) -> Self {
        let plant = plant::plant();
        let slots = plant::slots(&plant, days);
        let findings = plant::findings();
        Self {
            plant,
            slots,
            findings,
        }
    }

    fn wide(inputs: u8) -> Self {
        let plant = plant::wide_plant(inputs);
        let slots = plant::slots(&plant, 1);
        Self {
            plant,
            slots,
            findings: Vec::new(),
        }
    }

    fn input(&self) -> SummaryInput<'_> {
        SummaryInput {
            site_name: &self.plant.site.name,
            plant: &self.plant,
            slots: &self.slots,
            findings: &self.findings,
            utc_offset: &plant::utc_offset,
        }
    }

    fn svg(&self) -> String {
        summary_svg(&self.input(), Size::default()).expect("the example can be drawn")
    }
}

/// The texts of an SVG, in order.
fn texts(svg: &str) -> Vec<&str> {
    let texts = svg.split("<text").skip(1);
    texts
        .filter_map(|rest| rest.split_once('>')?.1.split_once("</text>"))
        .map(|(text, _)| text.trim())
        .collect()
}

fn count(svg: &str, text: &str) -> usize {
    texts(svg).iter().filter(|t| **t == text).count()
}

fn drawn_height(svg: &str) -> u32 {
    let height = svg
        .split_once("height=\"")
        .and_then(|(_, rest)| rest.split_once('"'));
    let height = height.and_then(|(height, _)| height.parse().ok());
    height.expect("the SVG begins with its height")
}

#[test]
fn every_plane_inverter_and_input_has_its_panels() {
    let svg = Example::days(4).svg();
    assert_eq!(count(&svg, "irradiance, W/m²"), 2);
    assert_eq!(count(&svg, "AC power, kW"), 2);
    assert_eq!(count(&svg, "voltage, V"), 5);
    assert_eq!(count(&svg, "current, A"), 5);
    for name in [
        "south",
        "west",
        "inv-1",
        "inv-2",
        "inv-1 input 3",
        "inv-2 input 2",
    ] {
        assert_eq!(count(&svg, name), 1, "{name}");
    }
    for words in [
        "strings B1, B2",
        "string C1",
        "dark",
        "inverter limited",
        "not measured",
    ] {
        assert!(count(&svg, words) > 0, "{words}");
    }
}

#[test]
fn the_title_names_site_period_and_findings() {
    let svg = Example::days(4).svg();
    let texts = texts(&svg);
    assert_eq!(texts[0], "Mühlgrund barn · roofs south and west");
    assert_eq!(
        texts[1],
        "10 Mar 2025, 00:00 to 14 Mar 2025, 00:00, local time  ·  \
         9 findings (1 now, 2 soon, 2 plan, 4 note)"
    );
}

#[test]
fn every_finding_has_its_label_and_says_whether_it_stands() {
    let svg = Example::days(4).svg();
    for label in [
        "1  current low: inv-2 input 2 (plan)",
        "2  string open: inv-1 input 2, string B2 (soon, stands)",
        "3  snow: inv-1 input 1 (note)",
        "7  link lost: inv-2 (soon)",
        "8  isolation low: inv-1 (now, stands)",
        "9  grid trip: inv-2 (plan)",
    ] {
        assert_eq!(count(&svg, label), 1, "{label} in {:?}", texts(&svg));
    }
}

#[test]
fn the_source_of_the_irradiance_is_said_in_words() {
    let svg = Example::days(4).svg();
    assert_eq!(
        count(&svg, "91 % sensor in the plane"),
        2,
        "{:?}",
        texts(&svg)
    );
    assert_eq!(count(&svg, "9 % scaled clear sky"), 2);
}

#[test]
fn no_number_in_the_svg_is_none() {
    let svg = Example::days(4).svg();
    for broken in ["NaN", "inf", "-2147483648", "2147483647"] {
        assert!(!svg.contains(broken), "{broken}");
    }
}

#[test]
fn the_same_input_gives_the_same_bytes() {
    let example = Example::days(4);
    assert_eq!(example.svg(), example.svg());
    let rgb = || summary_rgb(&example.input(), Size::default()).expect("it can be drawn");
    assert_eq!(rgb(), rgb());
}

#[test]
fn both_pictures_have_the_same_size_and_the_pixels_their_bytes() {
    let example = Example::days(1);
    let picture = summary_rgb(&example.input(), Size::default()).expect("it can be drawn");
    assert_eq!(picture.width_px, Size::default().width_px);
    assert_eq!(picture.height_px, drawn_height(&example.svg()));
    let pixels = picture.width_px as usize * picture.height_px as usize;
    assert_eq!(picture.rgb.len(), 3 * pixels);
    let dark = picture.rgb.chunks(3).filter(|p| p[0] < 60).count();
    assert!(
        dark > pixels / 200,
        "only {dark} of {pixels} pixels are dark"
    );
}

#[test]
fn a_missing_slot_interrupts_the_lines() {
    let whole = Example::wide(1);
    let mut gap = Example::wide(1);
    // At noon, where every line runs.
    gap.slots
        .retain(|slot| !(plant::at(0, 12.0)..plant::at(0, 12.5)).contains(&slot.start));
    let measured = |svg: &str| svg.matches("stroke=\"#181C24\" stroke-width=\"6\"").count();
    // AC power, voltage and current fall into two pieces each.
    assert_eq!(measured(&gap.svg()), measured(&whole.svg()) + 3);
}

#[test]
fn more_inputs_than_fit_are_counted_and_those_with_findings_stay() {
    let mut example = Example::wide(15);
    example.findings = vec![plant::finding(
        "wide",
        Some(14),
        None,
        Kind::InputDead,
        plant::at(0, 9.0),
        None,
    )];
    let svg = example.svg();
    assert_eq!(count(&svg, "current, A"), 12);
    assert_eq!(count(&svg, "wide input 14"), 1);
    assert_eq!(count(&svg, "wide input 12"), 0);
    let note = "3 more inputs not shown; shown are those with the most urgent findings, then the \
                first.";
    assert_eq!(count(&svg, note), 1, "{:?}", texts(&svg));

    let low = Size {
        max_height_px: 1000,
        ..Size::default()
    };
    let svg = summary_svg(&example.input(), low).expect("some inputs fit");
    assert!(drawn_height(&svg) <= 1000);
    assert_eq!(count(&svg, "wide input 14"), 1);
}

#[test]
fn a_year_stays_small_and_shows_days() {
    let example = Example::days(365);
    let svg = example.svg();
    assert!(svg.len() < MOST_SVG_BYTES, "{} bytes", svg.len());
    assert_eq!(count(&svg, "Jan 2026"), 2, "{:?}", texts(&svg));
}

#[test]
fn a_month_of_twelve_inputs_stays_small() {
    let plant = plant::wide_plant(12);
    let slots = plant::slots(&plant, 31);
    let svg = Example {
        plant,
        slots,
        findings: Vec::new(),
    }
    .svg();
    assert!(svg.len() < MOST_SVG_BYTES, "{} bytes", svg.len());
    assert_eq!(count(&svg, "current, A"), 12);
}

#[test]
fn odd_names_are_escaped_and_do_not_break_the_document() {
    let mut example = Example::days(1);
    example.plant.site.name = "Dach <Süd> & \"Ost\" \u{1} 屋根 Ω 25 °C".to_owned();
    let svg = example.svg();
    assert_eq!(
        texts(&svg)[0],
        "Dach &lt;Süd&gt; &amp; &quot;Ost&quot;   屋根 Ω 25 °C"
    );
    example.plant.site.name = "long ".repeat(100);
    let svg = example.svg();
    assert!(texts(&svg)[0].ends_with('…'));
    summary_rgb(&example.input(), Size::default()).expect("glyphs that are missing draw a box");
}

#[test]
fn what_cannot_be_drawn_is_refused_with_its_numbers() {
    let mut example = Example::days(1);
    let narrow = Size {
        width_px: 300,
        max_height_px: 4000,
    };
    let refused = summary_svg(&example.input(), narrow);
    assert!(
        matches!(refused, Err(ChartError::TooSmall { width_px: 300, .. })),
        "{refused:?}"
    );
    let flat = Size {
        max_height_px: 200,
        ..Size::default()
    };
    assert!(matches!(
        summary_svg(&example.input(), flat),
        Err(ChartError::TooSmall {
            needed_height_px: 400..=800,
            ..
        })
    ));
    let huge = Size {
        width_px: 100_000,
        ..Size::default()
    };
    assert!(matches!(
        summary_svg(&example.input(), huge),
        Err(ChartError::TooLarge { .. })
    ));

    example.slots[7].inverters[0].ac_power = Some(Power::from_w(f64::NAN));
    let refused = summary_svg(&example.input(), Size::default());
    assert!(matches!(
        refused,
        Err(ChartError::NotDrawable {
            what: "AC power",
            ..
        })
    ));
    example.slots[7].inverters[0].inputs.pop();
    let refused = summary_svg(&example.input(), Size::default());
    let Err(ChartError::NotThisPlant {
        what: "inputs",
        found: 2,
        wanted: 3,
        ..
    }) = refused
    else {
        panic!("{refused:?}");
    };
    example.slots.swap(3, 4);
    let refused = summary_svg(&example.input(), Size::default());
    assert!(
        matches!(refused, Err(ChartError::SlotsOutOfOrder { .. })),
        "{refused:?}"
    );
    example.slots[0].span = Span::ZERO;
    let refused = summary_svg(&example.input(), Size::default());
    assert!(
        matches!(refused, Err(ChartError::OutsideCalendar { .. })),
        "{refused:?}"
    );
    example.slots[0].start = Time::from_unix_ms(i64::MAX);
    let refused = summary_svg(&example.input(), Size::default());
    assert!(
        matches!(refused, Err(ChartError::OutsideCalendar { .. })),
        "{refused:?}"
    );
    example.slots.clear();
    let refused = summary_svg(&example.input(), Size::default());
    assert_eq!(refused, Err(ChartError::NothingToDraw));
}
