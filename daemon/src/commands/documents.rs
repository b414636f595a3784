//! `noonmark completions SHELL`, `noonmark man FOLDER` and `noonmark schema FILE`: what other programs
//! know of the command line and of the files, made from the command line and the readers of the files
//! themselves. Never in here: texts.

use super::exit;
use crate::command_line::Cli;
use clap::CommandFactory;
use clap_complete::Shell;
use config::schema::File;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why there are no manual pages. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ManualError {
    /// The folder or a page in it cannot be made.
    #[error("write manual pages into {}: {source}", .folder.display())]
    Folder {
        /// Where.
        folder: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The terminal cannot be written to.
    #[error("write to the terminal: {0}")]
    Print(io::Error),
}

impl ManualError {
    /// The exit code that says the same.
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Folder { .. } => exit::CANNOT_CREATE,
            Self::Print(_) => exit::CANNOT_WRITE,
        }
    }
}

/// Prints completions for a shell.
pub fn completions(shell: Shell, out: &mut dyn Write) {
    clap_complete::generate(shell, &mut Cli::command(), "noonmark", &mut { out });
}

/// Prints the JSON Schema of a kind of file.
///
/// # Errors
/// If it cannot be printed.
pub fn schema(file: File, out: &mut dyn Write) -> Result<(), ManualError> {
    let text = serde_json::to_string_pretty(&config::schema::schema(file));
    let text = text.expect("plain data can always be written");
    writeln!(out, "{text}").map_err(ManualError::Print)
}

/// Writes a page of section 1 for the program and for each command into a folder, and says how many.
///
/// # Errors
/// If they cannot be written.
pub fn manual(folder: &Path, out: &mut dyn Write) -> Result<(), ManualError> {
    let at = |source| ManualError::Folder {
        folder: folder.to_owned(),
        source,
    };
    std::fs::create_dir_all(folder).map_err(at)?;
    clap_mangen::generate_to(Cli::command().name("noonmark"), folder).map_err(at)?;
    writeln!(out, "{}", folder.display()).map_err(ManualError::Print)
}
