//! A site file as it may be shown to strangers: one line for each value, comments and what is not known
//! left out, people and where passwords are masked. A password never stands in a site file; where somebody
//! has put one all the same, under whichever key, it is not shown either.
//! Never in here: whether anything is right.

use crate::raw::TABLES;
use crate::shape::FILL_IN;
use std::fmt::Write;
use toml::de::{DeTable, DeValue};

/// Of people, and of what lets somebody in: the address of a receiver may have a password in it.
const MASKED: [&str; 5] = ["user", "email", "from", "page", "url"];
/// What names a file or a variable with a secret ends so. It is masked because a password typed in its
/// place is too easily overlooked.
const PLACES_OF_SECRETS: [&str; 2] = ["_file", "_env"];
/// Tables of people: their names too.
const PEOPLE: &str = "alerts.reader";
/// Tables whose keys are the file's own: load ratios, headers.
const OWN_KEYS: [&str; 2] = ["inverter.efficiency", "recording.columns"];
const MASK: &str = "***";

/// The values that the text of a site file has, each as `path = value`; `None` for what is no TOML: there
/// is no telling then what is a key and what a password.
pub fn masked(text: &str) -> Option<String> {
    let (document, errors) = DeTable::parse_recoverable(text);
    if !errors.is_empty() {
        return None;
    }
    let mut lines = String::new();
    table(document.get_ref(), "", "", &mut lines);
    Some(lines)
}

/// `path` counts the tables of an array, `place` does not.
fn table(of: &DeTable<'_>, path: &str, place: &str, lines: &mut String) {
    for (key, value) in of {
        let key: &str = key.get_ref();
        let is_own = OWN_KEYS.contains(&place);
        let joined = |to: &str| match to {
            "" => key.to_owned(),
            to => format!("{to}.{key}"),
        };
        if !is_own && !is_known(key) {
            // The name of the key may be the password as well.
            let path = if path.is_empty() { "(top)" } else { path };
            line(lines, &format!("{path}.{MASK}"), MASK);
            continue;
        }
        let is_of_people = place == PEOPLE && key == "name";
        let (path, place) = (joined(path), joined(place));
        let is_secret = PLACES_OF_SECRETS.iter().any(|end| key.ends_with(end));
        match is_of_people || is_secret || MASKED.contains(&key) {
            true => line(lines, &path, MASK),
            false => entry(value.get_ref(), &path, &place, lines),
        }
    }
}

fn entry(value: &DeValue<'_>, path: &str, place: &str, lines: &mut String) {
    match value {
        DeValue::Table(inner) => table(inner, path, place, lines),
        DeValue::Array(items) => {
            for (i, item) in items.iter().enumerate() {
                entry(item.get_ref(), &format!("{path}[{}]", i + 1), place, lines);
            }
        }
        DeValue::String(text) if text == FILL_IN => line(lines, path, FILL_IN),
        DeValue::String(text) => line(lines, path, &format!("{:?}", without_login(text))),
        DeValue::Integer(number) => line(lines, path, number.as_str()),
        DeValue::Float(number) => line(lines, path, number.as_str()),
        DeValue::Boolean(truth) => line(lines, path, &truth.to_string()),
        DeValue::Datetime(date) => line(lines, path, &date.to_string()),
    }
}

/// What stands before an `@` lets somebody in, or is somebody.
fn without_login(text: &str) -> String {
    match text.rsplit_once('@') {
        None => text.to_owned(),
        Some((_, host)) => format!("{MASK}@{host}"),
    }
}

fn line(lines: &mut String, path: &str, value: &str) {
    writeln!(lines, "{path} = {value}").expect("a String takes everything");
}

fn is_known(key: &str) -> bool {
    let is_table = |name: &str| name.split('.').any(|part| part == key);
    let keys = TABLES.iter().flat_map(|(_, keys)| keys.iter());
    keys.map(|key| key.name).any(|name| name == key)
        || TABLES.iter().any(|(name, _)| is_table(name))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn people_and_passwords_are_not_shown_wherever_they_stand() {
        let text = r#"
            # secret-1 in a comment
            secret-2 = "secret-3"
            [site]
            name = "Barn" # secret-4
            password = "secret-5"
            [alerts.mail]
            server = "secret-6@mail.example.org:25"
            user = "secret-7"
            password_file = "secret-8"
            [[alerts.reader]]
            name = "secret-9"
            role = "owner"
            [web.secret-10]
            x = "secret-11"
        "#;
        let shown = masked(text).expect("TOML");
        assert!(!shown.contains("secret"), "{shown}");
        for line in [
            "site.name = \"Barn\"",
            "alerts.mail.server = \"***@mail.example.org:25\"",
            "alerts.reader[1].role = \"owner\"",
            "alerts.mail.password_file = ***",
        ] {
            assert!(shown.lines().any(|found| found == line), "{line}: {shown}");
        }
        assert_eq!(masked("name = \"open"), None);
    }
    #[test]
    fn what_a_receiver_knows_us_by_is_not_shown() {
        let text = r#"
            [[alerts.webhook]]
            id = "desk"
            url = "https://desk.example.org/in?key=planted-1"
            secret_file = "planted-2"
            secret_env = "planted-3"
        "#;
        let shown = masked(text).expect("TOML");
        let lines: Vec<&str> = shown.lines().collect();
        let masked = ["secret_env", "secret_file", "url"];
        let masked = masked.map(|key| format!("alerts.webhook[1].{key} = ***"));
        assert_eq!(lines[0], "alerts.webhook[1].id = \"desk\"");
        assert_eq!(lines[1..], masked);
    }
}
