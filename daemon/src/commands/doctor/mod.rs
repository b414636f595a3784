//! `noonmark doctor SITE --out FILE`: one text for whoever helps from afar, with nothing in it that lets
//! anybody in. It is plain text, so that it can be read before it is given away.
//! Never in here: trying connections (`check --live`), or anything that changes something.

mod of_store;
mod of_system;

use super::exit;
use crate::clock::Clock;
use crate::secret;
use config::ConfigErrors;
use config::checked::{Secret, SiteFile};
use of_system::without_people;
use std::fmt::Write as _;
use std::fs::OpenOptions;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why there is no such text. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum DoctorError {
    /// It cannot be written; a file that is there is not overwritten.
    #[error("write {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(io::Error),
}

impl DoctorError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Write { .. } => exit::CANNOT_CREATE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Gathers what can be known and writes it into a new file. What cannot be known says why, in its place:
/// this is for when things are wrong.
///
/// # Errors
/// If the file cannot be written.
pub fn doctor(
    site: &Path,
    store: &Path,
    to: &Path,
    clock: Clock,
    out: &mut dyn Write,
) -> Result<(), DoctorError> {
    let loaded = config::load(site);
    let mut text = String::new();
    let mut section = |title: &str, content: &str| {
        write!(text, "== {title}\n{}\n\n", content.trim_end()).expect("memory takes it");
    };
    section("program", &program(clock));
    section("system", &of_system::facts(store));
    section("site file", &site_file(site, &loaded));
    if let Ok(loaded) = &loaded {
        section("passwords", &passwords(loaded));
        section("store", &of_store::state(store, loaded, clock));
    }
    section("log", &of_system::log());
    let file = OpenOptions::new().write(true).create_new(true).open(to);
    let written = file.and_then(|mut file| file.write_all(text.as_bytes()));
    written.map_err(|source| DoctorError::Write {
        path: to.to_owned(),
        source,
    })?;
    let path = to.display();
    writeln!(
        out,
        "{path} is for whoever helps. Read it before you give it away."
    )
    .map_err(DoctorError::Print)
}

fn program(clock: Clock) -> String {
    let now = chrono::DateTime::from_timestamp_millis(clock.now().unix_ms());
    let now = now.map_or_else(String::new, |now| now.to_rfc3339());
    format!("noonmark {}\nwritten at {now}", env!("CARGO_PKG_VERSION"))
}

/// Of a wrong file where and what is wanted, not what stands there.
fn site_file(path: &Path, loaded: &Result<SiteFile, ConfigErrors>) -> String {
    let mut text = String::new();
    if let Err(errors) = loaded {
        if errors.problems().is_empty() {
            text += "it cannot be read, or a map that it names is wrong\n";
        }
        for problem in errors.problems() {
            let (line, column, wanted) = (problem.line, problem.column, &problem.wanted);
            writeln!(text, "wrong at {line}:{column}: wanted {wanted}").expect("memory takes it");
        }
    }
    match std::fs::read_to_string(path) {
        Err(error) => text += &format!("not read: {error}"),
        Ok(file) => {
            let shown = config::masked(&file);
            text += &shown.unwrap_or_else(|| "not shown: it is no TOML".to_owned());
        }
    }
    text
}

/// Whether each can be read, never what or how long it is.
fn passwords(site: &SiteFile) -> String {
    let mail = site
        .alerts
        .mail
        .as_ref()
        .and_then(|server| server.password.as_ref());
    let (technician, reader) = match &site.web {
        Some(web) => (web.technician.as_ref(), web.reader.as_ref()),
        None => (None, None),
    };
    let brokers = site.brokers().into_iter();
    let brokers = brokers.filter_map(|broker| Some(("broker", broker.password.as_ref()?)));
    let webhooks = site.alerts.webhooks.iter();
    let webhooks = webhooks.map(|webhook| ("webhook", &webhook.secret));
    let named = [
        ("mail", mail),
        ("page", technician),
        ("readers of the page", reader),
    ];
    let named = named
        .into_iter()
        .filter_map(|(name, secret)| Some((name, secret?)));
    let all = named.chain(brokers).chain(webhooks);
    let line = |(name, secret): (&str, &Secret)| {
        let place = match secret {
            Secret::File(_) => "in a file",
            Secret::Variable(_) => "in a variable",
        };
        match secret::read(secret) {
            Ok(_) => format!("{name}: {place}, can be read\n"),
            Err(error) => format!("{name}: {place}, cannot be read: {}\n", error.kind()),
        }
    };
    let lines: String = all.map(line).collect();
    match lines.is_empty() {
        true => "none".to_owned(),
        false => without_people(&lines),
    }
}
