//! `noonmark init`: the beginning of a site file, from answers and from what inverters say of
//! themselves. Devices are only read.
//! Never in here: which keys there are (`config`), or a guess at a value that nobody has given.

mod answers;
mod found;
mod site_text;

pub use answers::Given;

use super::exit;
use crate::source::sunspec::DiscoverError;
use crate::text::count;
use answers::Answers;
use std::collections::VecDeque;
use std::fs::OpenOptions;
use std::io::{self, BufRead, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why there is no site file. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum InitError {
    /// The file is there already, or cannot be written.
    #[error("begin the site file {}: {source}", .path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// An answer that is none.
    #[error("take {answer:?} for {what}: wanted {wanted}")]
    Answer {
        /// What was asked.
        what: String,
        /// What was said.
        answer: String,
        /// What it may be.
        wanted: String,
    },
    /// Nobody answers at an address.
    #[error("ask the device at {address}, unit {unit}: {error}")]
    Unreachable {
        /// Where.
        address: String,
        /// Modbus unit.
        unit: u8,
        /// What went wrong.
        error: DiscoverError,
    },
    /// No answer can be read.
    #[error("read an answer: {0}")]
    Read(io::Error),
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(io::Error),
}

impl InitError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Write { .. } => exit::CANNOT_CREATE,
            Self::Answer { .. } | Self::Read(_) => exit::USAGE,
            Self::Unreachable { .. } => exit::UNREACHABLE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Where answers come from and questions go.
pub struct Talk<'a> {
    /// Lines of answers.
    pub answers: &'a mut (dyn BufRead + Send),
    /// Whether a person types them: then there are questions, and a wrong answer is asked again.
    pub is_person: bool,
    /// For people.
    pub out: &'a mut (dyn Write + Send),
}

/// Writes a new site file. What is not given is asked; what is not answered has to be filled in.
///
/// # Errors
/// If the file is there already, an answer is none, or a device does not answer; nothing is written
/// then. A person is asked for another address instead.
pub async fn init(path: &Path, given: Given, talk: &mut Talk<'_>) -> Result<(), InitError> {
    let failed = |source| InitError::Write {
        path: path.to_owned(),
        source,
    };
    // Before somebody answers a dozen questions in vain.
    if path.try_exists().map_err(failed)? {
        let text = "it is there already, and is left as it is";
        return Err(failed(io::Error::new(io::ErrorKind::AlreadyExists, text)));
    }
    let answers = Answers::gather(given, talk)?;
    let mut devices = Vec::new();
    let mut places = VecDeque::from(answers.devices.clone());
    while let Some(place) = places.pop_front() {
        match found::ask(&place).await {
            Ok(device) => {
                writeln!(talk.out, "{device}").map_err(InitError::Print)?;
                devices.push(device);
            }
            // What somebody has typed so far is not lost for one address.
            Err(why @ InitError::Unreachable { .. }) if talk.is_person => {
                writeln!(talk.out, "failed to {why}").map_err(InitError::Print)?;
                if let Some(place) = answers::other_address(talk)? {
                    places.push_front(place);
                }
            }
            Err(why) => return Err(why),
        }
    }
    let text = site_text::site_text(&answers, &devices);
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    file.and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(failed)?;
    let open = text.matches(site_text::OPEN).count();
    let path = path.display();
    writeln!(
        talk.out,
        "{path} is begun; {} to be filled in. `noonmark check {path}` lists them.",
        count(open, "value")
    )
    .map_err(InitError::Print)
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::TcpListener;

    #[tokio::test]
    async fn what_a_person_has_typed_is_not_lost_for_a_device_that_does_not_answer() {
        let free = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let nobody = free.local_addr().expect("bound");
        drop(free);
        let folder = tempfile::tempdir().expect("a folder");
        let file = folder.path().join("site.toml");
        let typed = format!("A barn\n\n\n\n\n\n\n{nobody}\n\n\n");
        let (mut typed, mut out) = (typed.as_bytes(), Vec::new());
        let mut talk = Talk {
            answers: &mut typed,
            is_person: true,
            out: &mut out,
        };
        init(&file, Given::default(), &mut talk)
            .await
            .expect("begun all the same");
        let said = String::from_utf8(out).expect("text");
        let refused = format!("failed to ask the device at {nobody}, unit 1");
        assert!(said.contains(&refused), "{said}");
        assert!(said.contains("(enter alone: leave it out)\n> "), "{said}");
        let text = std::fs::read_to_string(&file).expect("written");
        assert!(text.contains("name = \"A barn\""), "{text}");
    }
}
