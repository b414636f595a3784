//! The command line of `noonmark`, as the program, its completions and its manual pages know it.
//! Never in here: anything that a command does.

mod examples;
mod init_options;
mod scan_options;
mod values;

pub use init_options::InitOptions;
pub use scan_options::ScanOptions;

use crate::commands::export;
use clap::{Parser, Subcommand};
use std::path::PathBuf;

/// Reads photovoltaic inverters, compares every MPPT input with what the weather should give, and
/// reports faults. It only ever reads from devices.
#[derive(Debug, Parser)]
#[command(version, max_term_width = 100)]
pub struct Cli {
    /// What is to be done.
    #[command(subcommand)]
    pub command: Command,
}

/// A command with its options.
#[derive(Debug, Subcommand)]
pub enum Command {
    /// Check a site file and show the design it describes, with every limit, rule and margin
    #[command(after_help = examples::CHECK)]
    Check {
        /// The site file (TOML)
        site: PathBuf,
        /// Instead of the design: try every connection that it names, and tell of each in a line; devices
        /// are read once, nothing is written, published or sent
        #[arg(long)]
        live: bool,
    },
    /// Run the daemon: poll, store, compare, find, report
    #[command(after_help = examples::RUN)]
    Run {
        /// The site file (TOML)
        site: PathBuf,
        /// Folder for the store and the reports
        #[arg(long, default_value = "noonmark-data")]
        out: PathBuf,
        /// Rehearsal in front of simulated devices: start at this time (RFC 3339) ...
        #[arg(long, requires = "rehearse_rate", value_parser = values::time)]
        rehearse_from: Option<analysis::reading::Time>,
        /// ... and let the clock run this many times as fast
        #[arg(long, requires = "rehearse_from", value_parser = values::rate)]
        rehearse_rate: Option<f64>,
    },
    /// Put recorded data through the same analysis, as fast as it goes
    #[command(after_help = examples::REPLAY)]
    Replay {
        /// A site file (TOML) with a [recording]
        site: PathBuf,
        /// Folder for the reports
        #[arg(long)]
        out: PathBuf,
    },
    /// Show what the devices on a Modbus connection offer: open SunSpec models, or raw registers.
    /// It only reads.
    #[command(after_help = examples::SCAN)]
    Scan(ScanOptions),
    /// Begin a site file from answers and from what inverters say of themselves; an answer may be
    /// left empty, and is marked then. It only reads, and overwrites nothing.
    #[command(after_help = examples::INIT)]
    Init(InitOptions),
    /// Copy a store to a file and check the copy, also while the daemon runs
    #[command(after_help = examples::BACKUP)]
    Backup {
        /// The daemon's folder, or the store in it
        store: PathBuf,
        /// The copy; an earlier one is replaced when the new one has been checked
        #[arg(long)]
        to: PathBuf,
    },
    /// Check whether a store or a copy of one is sound; reads only, also while the daemon runs
    #[command(after_help = examples::VERIFY)]
    Verify {
        /// The daemon's folder, or the store in it
        store: PathBuf,
    },
    /// Write what whoever helps from afar needs to know into one text: version, machine, site file, store,
    /// log; no password, nobody's name or address
    #[command(after_help = examples::DOCTOR)]
    Doctor {
        /// The site file (TOML)
        site: PathBuf,
        /// The daemon's folder, or the store in it
        #[arg(long, default_value = "noonmark-data")]
        store: PathBuf,
        /// The new file
        #[arg(long)]
        out: PathBuf,
    },
    /// Write what was stored of some days to files, one for each device and day (UTC)
    #[command(after_help = examples::EXPORT)]
    Export {
        /// The site file (TOML)
        site: PathBuf,
        /// The daemon's folder, or the store in it
        #[arg(long, default_value = "noonmark-data")]
        store: PathBuf,
        /// Folder for the files
        #[arg(long)]
        out: PathBuf,
        /// First day, as in 2026-06-21
        #[arg(long, value_parser = values::day)]
        from: chrono::NaiveDate,
        /// Last day, exported too
        #[arg(long, value_parser = values::day)]
        to: chrono::NaiveDate,
        /// csv or parquet
        #[arg(long, default_value = "csv", value_parser = values::format)]
        format: export::Format,
    },
    /// Tell every reader, webhook and broker of the site file that this is a trial, to see that it arrives
    #[command(after_help = examples::TRIAL)]
    Trial {
        /// The site file (TOML)
        site: PathBuf,
    },
    /// Write the report of some days at the site: a page for people, with its tables and pictures
    #[command(after_help = examples::REPORT)]
    Report {
        /// The site file (TOML)
        site: PathBuf,
        /// The daemon's folder, or the store in it
        #[arg(long, default_value = "noonmark-data")]
        store: PathBuf,
        /// Folder for the files
        #[arg(long)]
        out: PathBuf,
        /// First day at the site, as in 2026-06-21
        #[arg(long, required_unless_present = "commissioning", value_parser = values::day)]
        from: Option<chrono::NaiveDate>,
        /// Last day at the site, part of the report
        #[arg(long, required_unless_present = "commissioning", value_parser = values::day)]
        to: Option<chrono::NaiveDate>,
        /// Instead: what the first thirty days say beside the design, to be signed
        #[arg(long, conflicts_with_all = ["from", "to"])]
        commissioning: bool,
    },
    /// Ask for a password of the page and print its hash, which is what the site file points to; from
    /// a pipe the first line is taken
    #[command(after_help = examples::PASSWORD)]
    Password,
    /// Show an invented plant with faults, polled over real Modbus TCP; nothing to install
    #[command(after_help = examples::DEMO)]
    Demo {
        /// Folder for the reports
        #[arg(long, default_value = "noonmark-demo")]
        out: PathBuf,
    },
    /// Print the JSON Schema of a kind of file, for editors
    #[command(after_help = examples::SCHEMA)]
    Schema {
        /// site, map (of registers) or messages
        #[arg(value_parser = values::file)]
        file: config::schema::File,
    },
    /// Print completions of a shell for these commands
    #[command(after_help = examples::COMPLETIONS)]
    Completions {
        /// Which shell
        shell: clap_complete::Shell,
    },
    /// Write the manual pages of all commands into a folder
    #[command(after_help = examples::MAN)]
    Man {
        /// Folder for them
        folder: PathBuf,
    },
}
