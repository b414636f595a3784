//! `noonmark password`: asks for a password of the page and prints its hash.
//! Never in here: keeping the password, or printing it.

use super::exit;
use crate::web::{LEAST_CHARACTERS, PasswordError, hash};
use std::io::{self, IsTerminal, Write};
use thiserror::Error;

/// Why there is no hash. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum AskError {
    /// Nothing can be read.
    #[error("read a password: {0}")]
    Read(io::Error),
    /// Two different ones were typed.
    #[error("take the password: the second time it was another one")]
    Differs,
    /// It is too easily found.
    #[error(transparent)]
    Password(#[from] PasswordError),
    /// The hash cannot be printed.
    #[error("print the hash: {0}")]
    Print(io::Error),
}

impl AskError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Read(_) | Self::Differs | Self::Password(_) => exit::USAGE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Asks twice on a terminal, without showing it; takes the first line of anything else.
///
/// # Errors
/// If there is none, or it is too short.
pub fn password(out: &mut dyn Write) -> Result<(), AskError> {
    let password = if io::stdin().is_terminal() {
        ask()?
    } else {
        let mut line = String::new();
        io::stdin().read_line(&mut line).map_err(AskError::Read)?;
        line.trim_end_matches(['\r', '\n']).to_owned()
    };
    writeln!(out, "{}", hash(&password)?).map_err(AskError::Print)
}

fn ask() -> Result<String, AskError> {
    let first = format!("Password for the page ({LEAST_CHARACTERS} characters or more): ");
    let first = rpassword::prompt_password(first).map_err(AskError::Read)?;
    let second = rpassword::prompt_password("The same again: ").map_err(AskError::Read)?;
    if first == second {
        Ok(first)
    } else {
        Err(AskError::Differs)
    }
}
