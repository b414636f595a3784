//! Registers of SunSpec models as the daemon decodes them, beside another library's decoder on the same
//! registers, point by point (`sunspec_images.py`).
//!
//! Kind of truth: reference. The other side has the standard's own definition files; which point is which of
//! our channels is typed here by hand.

use daemon::source::sunspec::{Content, Part, Spot, decode, points};
use serde::Deserialize;
use std::sync::LazyLock;
use tests::{judged, relative};

/// What a run draws is the same each time.
const SEED: &str = "20";
const IMAGES: &str = "40";
/// A number times a power of ten, once rounded by each side.
const ROUNDING: f64 = 1e-12;

#[derive(Debug, Deserialize)]
struct Image {
    model: u16,
    registers: Vec<u16>,
    points: Vec<Told>,
}

#[derive(Debug, PartialEq, Deserialize)]
struct Told {
    part: String,
    name: String,
    value: Option<Held>,
}

#[derive(Debug, Clone, PartialEq, Deserialize)]
#[serde(untagged)]
enum Held {
    Number(f64),
    Text(String),
}

/// Drawn once for all tests.
static DRAWN: LazyLock<Vec<Image>> = LazyLock::new(|| {
    let said = judged("sunspec_images.py", [SEED, IMAGES]);
    let images = said
        .lines()
        .map(|line| serde_json::from_str(line).expect("an image"));
    images.collect()
});

fn place(part: Part) -> String {
    match part {
        Part::Fixed => "fixed".to_owned(),
        Part::Block(number) => format!("block {number}"),
        Part::Curve => "curve".to_owned(),
        Part::Corner(number) => format!("corner {number}"),
    }
}

fn is_same(ours: &Content, theirs: Option<&Held>) -> bool {
    match (ours, theirs) {
        (Content::Missing, None) => true,
        (Content::Text(ours), Some(Held::Text(theirs))) => ours == theirs,
        (Content::Number(ours), Some(Held::Number(theirs))) => is_close(*ours, *theirs),
        // Nothing but NUL, which the other side tells as an empty text.
        (Content::Missing, Some(Held::Text(theirs))) => theirs.is_empty(),
        _ => false,
    }
}

fn is_close(ours: f64, theirs: f64) -> bool {
    (ours - theirs).abs() <= relative(ROUNDING, theirs)
}

#[test]
fn every_point_of_every_model_is_decoded_as_another_library_does() {
    let (mut compared, mut missing) = (0, 0);
    for image in DRAWN.iter() {
        let ours = points(image.model, &image.registers);
        let ours = ours.iter().filter(|point| point.name != "Pad");
        let ours: Vec<_> = ours.collect();
        let in_order = |part: &str, name: &str| {
            let found = ours
                .iter()
                .find(|p| place(p.part) == part && p.name == name);
            found.unwrap_or_else(|| panic!("model {}: no {part} {name}", image.model))
        };
        for theirs in &image.points {
            let found = in_order(&theirs.part, &theirs.name);
            assert!(
                is_same(&found.content, theirs.value.as_ref()),
                "model {}: {found:?}, {theirs:?} in {:?}",
                image.model,
                image.registers
            );
            compared += 1;
            missing += usize::from(theirs.value.is_none());
        }
        assert_eq!(ours.len(), image.points.len(), "model {}", image.model);
    }
    // Half of it must not be missing, or the comparison says little.
    assert!(
        compared > 30_000 && missing * 2 < compared,
        "{missing} of {compared}"
    );
}

/// Model, point and channel, and what the unit of the standard is in ours.
const CHANNELS: [(u16, &str, &str, f64); 57] = [
    (101, "AphA", "ac_current_l1_a", 1.0),
    (101, "W", "ac_power_w", 1.0),
    (102, "PhVphB", "ac_voltage_l2_v", 1.0),
    (103, "AphC", "ac_current_l3_a", 1.0),
    (103, "PhVphA", "ac_voltage_l1_v", 1.0),
    (103, "PhVphC", "ac_voltage_l3_v", 1.0),
    (103, "W", "ac_power_w", 1.0),
    (103, "Hz", "frequency_hz", 1.0),
    (103, "VAr", "ac_reactive_power_var", 1.0),
    (103, "WH", "energy_total_wh", 1.0),
    (103, "DCA", "dc_current_a", 1.0),
    (103, "DCV", "dc_voltage_v", 1.0),
    (103, "DCW", "dc_power_w", 1.0),
    (103, "TmpSnk", "heatsink_temperature_degc", 1.0),
    (103, "Evt1", "event_bits", 1.0),
    (111, "W", "ac_power_w", 1.0),
    (112, "Hz", "frequency_hz", 1.0),
    (113, "AphB", "ac_current_l2_a", 1.0),
    (113, "PhVphC", "ac_voltage_l3_v", 1.0),
    (113, "W", "ac_power_w", 1.0),
    (113, "VAr", "ac_reactive_power_var", 1.0),
    (113, "WH", "energy_total_wh", 1.0),
    (113, "DCV", "dc_voltage_v", 1.0),
    (113, "TmpSnk", "heatsink_temperature_degc", 1.0),
    (113, "Evt1", "event_bits", 1.0),
    (122, "Ris", "isolation_resistance_ohm", 1.0),
    (160, "DCA", "dc_current_a", 1.0),
    (160, "DCV", "dc_voltage_v", 1.0),
    (160, "DCW", "dc_power_w", 1.0),
    (302, "GHI", "ghi_w_m2", 1.0),
    (302, "POAI", "poa_w_m2", 1.0),
    (302, "DFI", "dhi_w_m2", 1.0),
    (302, "DNI", "dni_w_m2", 1.0),
    (303, "TmpBOM", "module_temperature_degc", 1.0),
    (307, "TmpAmb", "air_temperature_degc", 1.0),
    (307, "RH", "relative_humidity_ratio", 0.01),
    (307, "WndSpd", "wind_speed_m_s", 1.0),
    (307, "Snw", "snow_depth_m", 0.001),
    (308, "GHI", "ghi_w_m2", 1.0),
    (308, "TmpBOM", "module_temperature_degc", 1.0),
    (308, "TmpAmb", "air_temperature_degc", 1.0),
    (308, "WndSpd", "wind_speed_m_s", 1.0),
    (701, "Alrm", "event_bits", 1.0),
    (701, "W", "ac_power_w", 1.0),
    (701, "Var", "ac_reactive_power_var", 1.0),
    (701, "Hz", "frequency_hz", 1.0),
    (701, "TotWhInj", "energy_total_wh", 1.0),
    (701, "TmpSnk", "heatsink_temperature_degc", 1.0),
    (701, "AL1", "ac_current_l1_a", 1.0),
    (701, "AL3", "ac_current_l3_a", 1.0),
    (701, "VL1", "ac_voltage_l1_v", 1.0),
    (701, "VL2", "ac_voltage_l2_v", 1.0),
    (701, "VL3", "ac_voltage_l3_v", 1.0),
    (703, "ESDlyRemTms", "reconnect_wait_s", 1.0),
    (714, "DCA", "dc_current_a", 1.0),
    (714, "DCV", "dc_voltage_v", 1.0),
    (714, "DCW", "dc_power_w", 1.0),
];
/// What `PrtTyp` says of a port for modules.
const PHOTOVOLTAIC: f64 = 0.0;

impl Image {
    /// A point in all places, as the other side has it; of ports those of modules, and of their totals those
    /// without another port.
    fn all(&self, name: &str) -> Vec<Option<f64>> {
        let number = |told: &Told| match told.value {
            Some(Held::Number(number)) => Some(number),
            Some(Held::Text(_)) | None => None,
        };
        let kinds = self.points.iter().filter(|told| told.name == "PrtTyp");
        let others: Vec<&str> = kinds
            .filter(|told| number(told).is_some_and(|kind| kind != PHOTOVOLTAIC))
            .map(|told| told.part.as_str())
            .collect();
        let is_other = |part: &str| match part {
            "fixed" => !others.is_empty(),
            block => others.contains(&block),
        };
        let told = self.points.iter().filter(|told| told.name == name);
        let told = told.filter(|told| !is_other(&told.part));
        told.map(number).collect()
    }
}

#[test]
fn every_channel_has_its_point_in_its_unit() {
    for (model, name, channel, unit) in CHANNELS {
        let mut good = 0;
        for image in DRAWN.iter().filter(|image| image.model == model) {
            let ours = decode(model, &image.registers);
            let ours = ours.iter().filter(|value| value.quantity.name() == channel);
            let ours: Vec<_> = ours.collect();
            let theirs = image.all(name);
            assert_eq!(ours.len(), theirs.len(), "model {model} {name}");
            for (ours, theirs) in ours.iter().zip(&theirs) {
                let theirs = theirs.map(|number| number * unit);
                let is_same = match (ours.value.number(), theirs) {
                    (Some(ours), Some(theirs)) => is_close(ours, theirs),
                    (ours, theirs) => ours == theirs,
                };
                assert!(is_same, "model {model} {name}: {ours:?}, {theirs:?}");
                good += usize::from(theirs.is_some());
            }
            // Blocks are inputs in their order.
            let inputs = ours.iter().filter_map(|value| match value.spot {
                Spot::Input(number) => Some(number),
                Spot::Device | Spot::AllInputs => None,
            });
            let inputs: Vec<u8> = inputs.collect();
            assert_eq!(inputs, (1..=inputs.len() as u8).collect::<Vec<_>>());
        }
        assert!(good > 0, "model {model} {name} was never implemented");
    }
}
