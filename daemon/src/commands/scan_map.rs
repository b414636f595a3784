//! The beginning of a register map from the registers of a device: what answers, to be filled in by
//! somebody who has the device's list. Never in here: a guess of what a register means.

use super::scan::kind_name;
use super::scan_raw::RawBlock;
use std::fmt::Write;
use std::fs::OpenOptions;
use std::io::{self, Write as _};
use std::path::{Path, PathBuf};
use thiserror::Error;

/// Why there is no map. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum MapError {
    /// Nothing answers that could stand in it.
    #[error("begin a register map: no register answers in the range that was asked for")]
    NoRegisters,
    /// It cannot be written; a file that is there is not overwritten.
    #[error("write the register map {}: {source}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: io::Error,
    },
}

const HEAD: &str = "\
# The beginning of a register map, from what a scan has found. It is not finished: `noonmark check`
# lists what is missing once a site file names it. Take the list of registers that belongs to the
# device; for each register that you need, take the hash signs away and fill in channel, type and
# scale. Delete the rest. The files in config/registers explain every key.

# Name of the device for people.
name = \"FILL IN\"
# The addresses below are counted from 0. If your list counts from 1, write its numbers and a 1 here.
addresses_count_from = 0
# Which register of a number in several comes first, by the list: high-first or low-first.
# word_order = \"low-first\"
# Most registers in one request, by the list.
# max_block = 60

# Addresses that the list warns of reading.
# [[forbidden]]
# function = \"holding\"
# from = 0
# to = 0
";

/// Writes a new file.
pub(super) fn write_map(path: &Path, blocks: &[RawBlock]) -> Result<(), MapError> {
    let text = map_text(blocks).ok_or(MapError::NoRegisters)?;
    let failed = |source| MapError::Write {
        path: path.to_owned(),
        source,
    };
    let file = OpenOptions::new().write(true).create_new(true).open(path);
    file.and_then(|mut file| file.write_all(text.as_bytes()))
        .map_err(failed)
}

fn map_text(blocks: &[RawBlock]) -> Option<String> {
    let mut text = HEAD.to_owned();
    let mut first = None;
    for block in blocks {
        let kind = kind_name(block.kind);
        for (address, value) in (block.first..).zip(&block.values) {
            first.get_or_insert((kind, address));
            let signed = *value as i16;
            write!(
                text,
                "\n# It held 0x{value:04x}: {value}, with sign {signed}.\n# [[register]]\n\
                 # channel = \"FILL IN\"\n# function = \"{kind}\"\n# address = {address}\n\
                 # type = \"FILL IN\"\n# scale = 1\n"
            )
            .expect("a String takes everything");
        }
    }
    first.map(|_| text)
}
