//! The text of a site file that is begun: each key with what it means, as the key tables have it, and
//! either its value or the mark that somebody has to fill it in, which no check lets pass.
//! Never in here: a value of our own invention.

use super::answers::{Answers, quoted};
use super::found::{FoundDevice, Kind};
use config::{FILL_IN, Need, Rule, TABLES};

/// What stands where somebody has to fill something in.
pub(super) const OPEN: &str = "= \"FILL IN\"";
const MODULE: &str = "module-1";
const PLANE: &str = "plane-1";
const WIDTH: usize = 100;

const HEAD: &str = "\
# The beginning of a site file. What a person has to know stands as \"FILL IN\"; `noonmark check` lists
# it with everything else that is wrong, until nothing is left. Ratings are what the inverter says of
# itself: compare them with its label. There is more that can be said (prices, horizon, mails, the
# page): the book's chapter on the site file has every key.
";

const STRINGS: &str = "\n# One table for each string of this input.";

/// Values that are known, by key.
type Known = Vec<(&'static str, String)>;

/// The whole text.
pub(super) fn site_text(answers: &Answers, devices: &[FoundDevice]) -> String {
    let mut text = HEAD.to_owned();
    text += &table("site", "[site]", &answers.site);
    text += "\n# A module type by its datasheet; one table for each type.";
    text += &table("module", "[[module]]", &id(MODULE));
    text += "\n# Modules with one tilt and one azimuth; one table for each plane.";
    text += &table("plane", "[[plane]]", &id(PLANE));
    let mut inverters = 0;
    let mut stations = 0;
    for device in devices {
        let is_weather = matches!(device.kind, Kind::Weather);
        if !is_weather {
            inverters += 1;
            text += &inverter(inverters, Some(device));
        }
        // A plane sensor that is wired to an inverter is a weather device behind the same unit.
        if is_weather || device.has_plane_sensor {
            stations += 1;
            text += &weather(stations, device);
        }
    }
    if inverters == 0 {
        text += &inverter(1, None);
    }
    text
}

fn id(id: &str) -> Known {
    vec![("id", quoted(id))]
}

fn named(device: &FoundDevice) -> String {
    // One line, whatever the device says.
    let plain: String = device.named.chars().filter(|c| !c.is_control()).collect();
    match plain.is_empty() {
        true => String::new(),
        false => format!("\n# Calls itself {plain}."),
    }
}

fn inverter(number: usize, device: Option<&FoundDevice>) -> String {
    let mut known = id(&format!("inverter-{number}"));
    let mut inputs = 1;
    let mut text = String::new();
    if let Some(device) = device {
        text += &named(device);
        if let Kind::Inverter(ratings) = &device.kind {
            known.extend(ratings.active_w.map(|w| ("rated_ac_w", w.to_string())));
            let apparent = ratings
                .apparent_va
                .filter(|va| Some(*va) >= ratings.active_w);
            known.extend(apparent.map(|va| ("max_apparent_va", va.to_string())));
            known.extend(ratings.phases.map(|n| ("phases", n.to_string())));
            inputs = ratings.inputs.unwrap_or(1);
        }
    }
    text += &table("inverter", "[[inverter]]", &known);
    match device {
        Some(device) => {
            let map = match device.kind {
                Kind::Inverter(_) | Kind::Weather => "sunspec",
                Kind::WithoutModels => FILL_IN,
            };
            text += &source("inverter", device, map);
        }
        None => {
            let known = vec![
                ("kind", quoted("modbus-tcp")),
                ("address", quoted(FILL_IN)),
                ("map", quoted("sunspec")),
            ];
            text += &table("inverter.source", "[inverter.source]", &known);
        }
    }
    for number in 1..=inputs {
        let known = vec![("number", number.to_string())];
        text += &table("inverter.input", "[[inverter.input]]", &known);
        text += STRINGS;
        let known = vec![("module", quoted(MODULE)), ("plane", quoted(PLANE))];
        text += &table("inverter.input.string", "[[inverter.input.string]]", &known);
    }
    text
}

fn weather(number: usize, device: &FoundDevice) -> String {
    let mut known = id(&format!("weather-{number}"));
    let mut text = named(device);
    if device.has_plane_sensor {
        text += "\n# It shows the light in a plane: name that plane; without it that light is not used.";
        known.push(("plane", quoted(FILL_IN)));
    }
    text += &table("weather", "[[weather]]", &known);
    text + &source("weather", device, "sunspec")
}

fn source(of: &str, device: &FoundDevice, map: &str) -> String {
    let known = vec![
        ("kind", quoted("modbus-tcp")),
        ("address", quoted(&device.place.address)),
        ("unit", device.place.unit.to_string()),
        ("map", quoted(map)),
    ];
    table("inverter.source", &format!("[{of}.source]"), &known)
}

/// A table with its required keys and those that are known, each under what it means.
fn table(name: &str, header: &str, known: &Known) -> String {
    let (_, keys) = TABLES
        .iter()
        .find(|(table, _)| *table == name)
        .expect("a table of the site file");
    let mut text = format!("\n{header}\n");
    for key in *keys {
        let is_table = matches!(key.rule, Rule::Words(words) if words.starts_with('['));
        let value = known.iter().find(|(name, _)| *name == key.name);
        let value = match value {
            Some((_, value)) => value.clone(),
            None if key.need == Need::Required && !is_table => quoted(FILL_IN),
            None => continue,
        };
        let more = match key.name {
            "grid_rules" => format!(" {}.", config::grid::names().collect::<Vec<_>>().join(", ")),
            _ => String::new(),
        };
        text += &comment(&format!("{}. ({}){more}", capital(key.doc), key.summary()));
        text += &format!("{} = {value}\n", key.name);
    }
    text
}

fn capital(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

fn comment(text: &str) -> String {
    let mut lines = String::from("#");
    let mut width = 1;
    for word in text.split(' ') {
        if width + 1 + word.chars().count() > WIDTH {
            lines += "\n#";
            width = 1;
        }
        lines += " ";
        lines += word;
        width += 1 + word.chars().count();
    }
    lines + "\n"
}
