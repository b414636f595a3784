//! What is known of a site before any device is asked: given on the command line, or asked. Every
//! required key of `[site]` is a question; an answer is right if the site file's own check takes it.
//! Never in here: devices.

use super::{InitError, Talk};
use crate::commands::scan::with_port;
use config::{Key, Need, Rule, TABLES};
use std::path::Path;

/// What the command line gives.
#[derive(Debug, Clone, Default)]
pub struct Given {
    /// Keys of `[site]` with their values as people write them.
    pub site: Vec<(&'static str, String)>,
    /// Addresses of devices, as in `192.0.2.7:502` or `192.0.2.7:502,3`.
    pub devices: Vec<String>,
}

/// All that is known.
#[derive(Debug)]
pub(super) struct Answers {
    /// Keys of `[site]` with their values as TOML.
    pub(super) site: Vec<(&'static str, String)>,
    pub(super) devices: Vec<Place>,
}

/// Where a device is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Place {
    pub(super) address: String,
    pub(super) unit: u8,
}

const DEVICES: &str = "Address of an inverter or weather device on Modbus TCP, as 192.0.2.7:502, with its \
                       unit as 192.0.2.7:502,3 (enter alone: no more)";
const OTHER_ADDRESS: &str = "Its right address (enter alone: leave it out)";

impl Answers {
    /// Takes what is given and asks for the rest.
    pub(super) fn gather(given: Given, talk: &mut Talk<'_>) -> Result<Self, InitError> {
        let mut site = Vec::new();
        for key in site_keys() {
            let known = given.site.iter().find(|(name, _)| *name == key.name);
            let value = match known {
                Some((_, answer)) => Some(taken(key, answer)?),
                None => asked(&question(key), talk, |answer| taken(key, answer))?,
            };
            site.extend(value.map(|value| (key.name, value)));
        }
        let devices: Result<Vec<Place>, _> = given.devices.iter().map(|text| place(text)).collect();
        let mut devices = devices?;
        if devices.is_empty() {
            while let Some(place) = asked(DEVICES, talk, place)? {
                devices.push(place);
            }
        }
        Ok(Self { site, devices })
    }
}

/// The address that was meant by one at which nothing answers.
pub(super) fn other_address(talk: &mut Talk<'_>) -> Result<Option<Place>, InitError> {
    asked(OTHER_ADDRESS, talk, place)
}

fn site_keys() -> impl Iterator<Item = &'static Key> {
    let (_, keys) = TABLES
        .iter()
        .find(|(name, _)| *name == "site")
        .expect("there is one");
    keys.iter().filter(|key| key.need == Need::Required)
}

fn question(key: &Key) -> String {
    let rules = match key.name {
        "grid_rules" => config::grid::names().collect::<Vec<_>>().join(" | "),
        _ => key.summary().replace("; required", ""),
    };
    format!(
        "{}: {} ({rules}; enter alone: left open)",
        key.name, key.doc
    )
}

/// The next answer, if there is one. Of somebody who types, a wrong one is asked again; the lines of
/// a pipe would be out of step after it.
fn asked<T>(
    question: &str,
    talk: &mut Talk<'_>,
    take: impl Fn(&str) -> Result<T, InitError>,
) -> Result<Option<T>, InitError> {
    loop {
        if talk.is_person {
            write!(talk.out, "{question}\n> ").map_err(InitError::Print)?;
            talk.out.flush().map_err(InitError::Print)?;
        }
        let mut line = String::new();
        talk.answers.read_line(&mut line).map_err(InitError::Read)?;
        let answer = line.trim();
        if answer.is_empty() {
            return Ok(None);
        }
        match take(answer) {
            Err(wrong) if talk.is_person => {
                writeln!(talk.out, "failed to {wrong}").map_err(InitError::Print)?;
            }
            taken => return taken.map(Some),
        }
    }
}

/// An answer as the site file has it, if its check has nothing against it.
fn taken(key: &Key, answer: &str) -> Result<String, InitError> {
    let value = in_toml(key, answer);
    let file = format!("[site]\n{} = {value}\n", key.name);
    let path = format!("site.{}", key.name);
    let checked = config::parse("", &file, Path::new(""));
    let errors = checked.expect_err("a file of one key is not all");
    match errors
        .problems()
        .iter()
        .find(|problem| problem.path == path)
    {
        None => Ok(value),
        Some(problem) => Err(InitError::Answer {
            what: key.name.to_owned(),
            answer: answer.to_owned(),
            wanted: problem.wanted.clone(),
        }),
    }
}

fn in_toml(key: &Key, answer: &str) -> String {
    let is_bare = match key.rule {
        Rule::Range { .. } => answer.parse().is_ok_and(f64::is_finite),
        Rule::Words("date") => answer.parse::<chrono::NaiveDate>().is_ok(),
        Rule::OneOf(_) | Rule::Words(_) => false,
    };
    match is_bare {
        // Without a point TOML takes a sign or an exponent as well as Rust does.
        true => answer.trim_start_matches('+').to_owned(),
        false => quoted(answer),
    }
}

/// As a text of TOML; what cannot be printed is left out.
pub(super) fn quoted(text: &str) -> String {
    let plain: String = text.chars().filter(|c| !c.is_control()).collect();
    serde_json::to_string(&plain).expect("texts can be written")
}

fn place(text: &str) -> Result<Place, InitError> {
    let (address, unit) = text.split_once(',').unwrap_or((text, "1"));
    let address = address.trim();
    let unit = unit.trim().parse();
    let is_address = !address.is_empty() && !address.contains(char::is_whitespace);
    match unit {
        Ok(unit) if is_address => Ok(Place {
            address: with_port(address),
            unit,
        }),
        _ => Err(InitError::Answer {
            what: "an address".to_owned(),
            answer: text.to_owned(),
            wanted: "host, port and unit from 0 to 255, as 192.0.2.7:502,3".to_owned(),
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(name: &str) -> &'static Key {
        site_keys().find(|key| key.name == name).expect("a key")
    }

    #[test]
    fn an_answer_becomes_what_the_site_file_takes() {
        for (name, answer, value) in [
            ("latitude_deg", "-41.4", "-41.4"),
            ("altitude_m", "+160", "160"),
            ("name", "Hillside \"barn\"", "\"Hillside \\\"barn\\\"\""),
            ("timezone", "Australia/Hobart", "\"Australia/Hobart\""),
            ("commissioned", "2023-02-17", "2023-02-17"),
            ("grid_rules", "au-c", "\"au-c\""),
        ] {
            assert_eq!(taken(key(name), answer).expect("right"), value);
        }
    }

    #[test]
    fn whoever_types_is_asked_and_asked_again_after_a_wrong_answer() {
        let typed =
            "A barn\n141\n-41.4\n\n160\nAustralia/Hobart\nau-c\n2023-02-17\nx y\nbarn,3\n\n";
        let (mut answers, mut out) = (typed.as_bytes(), Vec::new());
        let given = Given {
            site: vec![("grid_rules", "nz".to_owned())],
            devices: Vec::new(),
        };
        let mut talk = Talk {
            answers: &mut answers,
            is_person: true,
            out: &mut out,
        };
        // What is given is not asked: "au-c" is no date, and the next answer is.
        let gathered = Answers::gather(given, &mut talk).expect("right in the end");
        let wanted = [
            ("name", "\"A barn\""),
            ("latitude_deg", "-41.4"),
            ("altitude_m", "160"),
            ("timezone", "\"Australia/Hobart\""),
            ("grid_rules", "\"nz\""),
            ("commissioned", "2023-02-17"),
        ];
        let wanted = wanted.map(|(key, value)| (key, value.to_owned()));
        assert_eq!(gathered.site, wanted);
        assert_eq!(gathered.devices, [place("barn:502,3").expect("right")]);
        let said = String::from_utf8(out).expect("text");
        assert_eq!(said.matches("\n> ").count(), 11, "{said}");
        // Six keys, two of them twice; then the devices.
        assert_eq!(
            said.matches("(enter alone: no more)\n> ").count(),
            3,
            "{said}"
        );
        assert_eq!(
            said.matches("; enter alone: left open)\n> ").count(),
            8,
            "{said}"
        );
        assert_eq!(said.matches("failed to take").count(), 3, "{said}");
    }

    #[test]
    fn what_the_check_refuses_is_no_answer() {
        for (name, answer) in [
            ("latitude_deg", "141"),
            ("latitude_deg", "south"),
            ("altitude_m", "nan"),
            ("timezone", "Hobart"),
            ("commissioned", "17.2.2023"),
            ("grid_rules", "none"),
        ] {
            let wrong = taken(key(name), answer).expect_err(answer).to_string();
            assert!(wrong.contains("wanted"), "{wrong}");
        }
        for wrong in ["192.0.2.7,256", "192.0.2.7,", "a b"] {
            place(wrong).expect_err(wrong);
        }
        let right = place("192.0.2.7, 3").expect("right");
        assert_eq!((right.address.as_str(), right.unit), ("192.0.2.7:502", 3));
    }
}
