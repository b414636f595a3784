//! The command line of `noonmark`. Never in here: anything that a command does.

use clap::{Args, Parser, Subcommand};
use config::checked::SiteFile;
use daemon::clock::Clock;
use daemon::commands::{
    Wanted, backup, check, exit, export, password, replay, report, run, scan, trial, verify,
};
use daemon::demo;
use daemon::report::Days;
use daemon::source::modbus::{Parity, RegisterKind, SerialLine};
use std::future::Future;
use std::io::{self, IsTerminal};
use std::ops::RangeInclusive;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tracing_subscriber::EnvFilter;

/// Reads photovoltaic inverters, compares every MPPT input with what the weather should give, and
/// reports faults. It only ever reads from devices.
#[derive(Parser)]
#[command(version, max_term_width = 100)]
struct Cli {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Check a site file and show the design it describes, with every limit, rule and margin
    Check {
        /// The site file (TOML)
        site: PathBuf,
    },
    /// Run the daemon: poll, store, compare, find, report
    Run {
        /// The site file (TOML)
        site: PathBuf,
        /// Folder for the store and the reports
        #[arg(long, default_value = "noonmark-data")]
        out: PathBuf,
        /// Rehearsal in front of simulated devices: start at this time (RFC 3339) ...
        #[arg(long, requires = "rehearse_rate", value_parser = time)]
        rehearse_from: Option<analysis::reading::Time>,
        /// ... and let the clock run this many times as fast
        #[arg(long, requires = "rehearse_from", value_parser = rate)]
        rehearse_rate: Option<f64>,
    },
    /// Put recorded data through the same analysis, as fast as it goes
    Replay {
        /// A site file (TOML) with a [recording]
        site: PathBuf,
        /// Folder for the reports
        #[arg(long)]
        out: PathBuf,
    },
    /// Show what the devices on a Modbus connection offer: open SunSpec models, or raw registers.
    /// It only reads.
    #[command(after_help = SCAN_EXAMPLES)]
    Scan(ScanOptions),
    /// Copy a store to a file and check the copy, also while the daemon runs
    Backup {
        /// The daemon's folder, or the store in it
        store: PathBuf,
        /// The copy; an earlier one is replaced when the new one has been checked
        #[arg(long)]
        to: PathBuf,
    },
    /// Check whether a store or a copy of one is sound; reads only, also while the daemon runs
    Verify {
        /// The daemon's folder, or the store in it
        store: PathBuf,
    },
    /// Write what was stored of some days to files, one for each device and day (UTC)
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
        #[arg(long)]
        from: chrono::NaiveDate,
        /// Last day, exported too
        #[arg(long)]
        to: chrono::NaiveDate,
        /// csv or parquet
        #[arg(long, default_value = "csv", value_parser = format)]
        format: export::Format,
    },
    /// Tell every reader, webhook and broker of the site file that nothing is wrong, to see that it arrives
    Trial {
        /// The site file (TOML)
        site: PathBuf,
    },
    /// Write the report of some days at the site: a page for people, with its tables and pictures
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
        #[arg(long, required_unless_present = "commissioning")]
        from: Option<chrono::NaiveDate>,
        /// Last day at the site, part of the report
        #[arg(long, required_unless_present = "commissioning")]
        to: Option<chrono::NaiveDate>,
        /// Instead: what the first thirty days say beside the design, to be signed
        #[arg(long, conflicts_with_all = ["from", "to"])]
        commissioning: bool,
    },
    /// Ask for a password of the page and print its hash, which is what the site file points to; from
    /// a pipe the first line is taken
    Password,
    /// Show an invented plant with faults, polled over real Modbus TCP; nothing to install
    Demo {
        /// Folder for the reports
        #[arg(long, default_value = "noonmark-demo")]
        out: PathBuf,
    },
}

const SCAN_EXAMPLES: &str = "Examples:
  noonmark scan 192.0.2.7                        one device over Modbus TCP
  noonmark scan 192.0.2.7:502 --units 1-10       all units behind a gateway
  noonmark scan 192.0.2.8:4001 --rtu --unit 3    through a converter of serial frames
  noonmark scan /dev/ttyUSB0 --baud 19200 --parity even --units 1-32
                                                 on a serial line
  noonmark scan 192.0.2.7 --function 4 --from 1000 --count 40
                                                 chosen registers, with every plausible reading
  noonmark scan 192.0.2.7 --from 1000 --count 40 --write-map inverter.toml
                                                 and the beginning of a register map";

#[derive(Args)]
struct ScanOptions {
    /// Host and port, as in 192.0.2.7:502, or a serial port, as in /dev/ttyUSB0
    address: String,
    /// Unit id
    #[arg(long, default_value_t = 1)]
    unit: u8,
    /// Several unit ids, as in 1-10; a silent one takes five seconds
    #[arg(long, conflicts_with = "unit", value_parser = units)]
    units: Option<RangeInclusive<u8>>,
    /// Serial frames over TCP, as converters carry them
    #[arg(long)]
    rtu: bool,
    /// Speed of a serial port
    #[arg(long, default_value_t = 9600)]
    baud: u32,
    /// Check bit of a serial port
    #[arg(long, default_value = "none", value_parser = ["none", "even", "odd"])]
    parity: String,
    /// Stop bits of a serial port
    #[arg(long, default_value_t = 1, value_parser = clap::value_parser!(u8).range(1..=2))]
    stop_bits: u8,
    /// First register to show, counted from 0
    #[arg(long)]
    from: Option<u16>,
    /// How many registers to show
    #[arg(long, value_parser = clap::value_parser!(u16).range(1..=2000))]
    count: Option<u16>,
    /// Only holding registers (3) or only input registers (4)
    #[arg(long, value_parser = clap::value_parser!(u8).range(3..=4))]
    function: Option<u8>,
    /// Write the beginning of a register map into this new file; of one unit only
    #[arg(long, value_name = "FILE", conflicts_with = "units")]
    write_map: Option<PathBuf>,
}

impl ScanOptions {
    fn scan(self) -> scan::Scan {
        let is_path = self.address.starts_with('/') || self.address.starts_with("COM");
        let at = match (is_path, self.rtu) {
            (true, _) => scan::Place::Serial(SerialLine {
                path: self.address.into(),
                baud: self.baud,
                parity: match self.parity.as_str() {
                    "even" => Parity::Even,
                    "odd" => Parity::Odd,
                    _ => Parity::None,
                },
                two_stop_bits: self.stop_bits == 2,
            }),
            (false, true) => scan::Place::RtuOverTcp(self.address),
            (false, false) => scan::Place::Tcp(self.address),
        };
        scan::Scan {
            at,
            units: self.units.unwrap_or(self.unit..=self.unit),
            wanted: Wanted {
                from: self.from,
                count: self.count,
                kind: self.function.map(|function| match function {
                    3 => RegisterKind::Holding,
                    _ => RegisterKind::Input,
                }),
            },
            map: self.write_map,
        }
    }
}

fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let wrong = error.use_stderr();
            // Help that cannot be printed leaves nobody to tell.
            let _ = error.print();
            return ExitCode::from(if wrong { exit::USAGE } else { exit::DONE });
        }
    };
    log(&cli.command);
    ExitCode::from(match cli.command {
        Command::Check { site } => check_site(&site),
        Command::Replay { site, out } => with_site(&site, |file| {
            said(
                replay::replay(&site, file, &out, &mut io::stdout().lock()),
                replay::ReplayError::exit_code,
            )
        }),
        Command::Run {
            site,
            out,
            rehearse_from,
            rehearse_rate,
        } => with_site(&site, |file| {
            in_runtime(async {
                let stop = told_to_stop();
                let clock = match rehearse_from.zip(rehearse_rate) {
                    Some((from, rate)) => Clock::rehearsal(from, rate),
                    None => Clock::System,
                };
                said(
                    run::run(file, &out, clock, stop).await,
                    run::RunError::exit_code,
                )
            })
        }),
        Command::Scan(options) => in_runtime(async {
            let result = scan::scan(&options.scan(), &mut io::stdout()).await;
            said(result, scan::ScanError::exit_code)
        }),
        Command::Backup { store, to } => {
            let (now, out) = (Clock::System.now(), &mut io::stdout());
            let copied = backup::backup(&store, &to, now, out);
            said(copied, backup::BackupError::exit_code)
        }
        Command::Verify { store } => said(
            verify::verify(&store, &mut io::stdout()),
            verify::VerifyError::exit_code,
        ),
        Command::Export {
            site,
            store,
            out,
            from,
            to,
            format,
        } => with_site(&site, |_| {
            let wanted = export::Wanted { from, to, format };
            let written = export::export(&store, &out, wanted, &mut io::stdout());
            said(written, export::ExportError::exit_code)
        }),
        Command::Trial { site } => with_site(&site, |file| {
            in_runtime(async {
                let told = trial::trial(file, Clock::System, &mut io::stdout()).await;
                said(told, trial::TrialError::exit_code)
            })
        }),
        Command::Report {
            site,
            store,
            out,
            from,
            to,
            commissioning: _,
        } => with_site(&site, |file| {
            let written = match from.zip(to) {
                Some((from, to)) => {
                    let days = Days { from, to };
                    report::report(file, &store, &out, days, &mut io::stdout())
                }
                None => report::commissioning(file, &store, &out, &mut io::stdout()),
            };
            said(written, report::ReportCommandError::exit_code)
        }),
        Command::Password => said(
            password::password(&mut io::stdout()),
            password::AskError::exit_code,
        ),
        Command::Demo { out } => in_runtime(async {
            said(
                demo::demo(&out, &mut io::stdout()).await,
                demo::DemoError::exit_code,
            )
        }),
    })
}

/// Logs go to standard error; `RUST_LOG` chooses what. Only the daemon tells of every connection.
fn log(command: &Command) {
    let level = match command {
        Command::Run { .. } => "info",
        _ => "error",
    };
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(level));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_writer(io::stderr)
        .with_ansi(io::stderr().is_terminal())
        .with_target(false)
        .init();
}

fn check_site(site: &Path) -> u8 {
    let colour = io::stdout().is_terminal();
    check::check(site, &mut io::stdout(), colour).unwrap_or(exit::CANNOT_WRITE)
}

fn with_site(path: &Path, then: impl FnOnce(&SiteFile) -> u8) -> u8 {
    match config::load(path) {
        Ok(site) => then(&site),
        Err(errors) => {
            eprint!("{}", errors.render(io::stderr().is_terminal()));
            exit::BAD_SITE_FILE
        }
    }
}

fn in_runtime(work: impl Future<Output = u8>) -> u8 {
    match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime.block_on(work),
        Err(error) => {
            eprintln!("failed to start: {error}");
            exit::INTERNAL
        }
    }
}

/// Prints an error with all its reasons, as one sentence.
fn said<E: std::error::Error>(result: Result<(), E>, code: impl Fn(&E) -> u8) -> u8 {
    let Err(error) = result else {
        return exit::DONE;
    };
    let mut message = error.to_string();
    let mut source = error.source();
    while let Some(reason) = source {
        let reason_text = reason.to_string();
        if !message.contains(&reason_text) {
            message = format!("{message}: {reason_text}");
        }
        source = reason.source();
    }
    eprintln!("failed to {message}");
    code(&error)
}

/// Listens from the call on, so that nothing is missed before the future is waited for.
#[cfg(unix)]
fn told_to_stop() -> impl Future<Output = ()> {
    use tokio::signal::unix::{SignalKind, signal};
    let listen = |kind| signal(kind).expect("these two signals can be listened to");
    let mut interrupt = listen(SignalKind::interrupt());
    let mut terminate = listen(SignalKind::terminate());
    async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    }
}

#[cfg(not(unix))]
async fn told_to_stop() {
    tokio::signal::ctrl_c()
        .await
        .expect("the signal can be listened to");
}

fn time(text: &str) -> Result<analysis::reading::Time, String> {
    let date = chrono::DateTime::parse_from_rfc3339(text)
        .map_err(|_| "wanted RFC 3339, as in 2026-06-21T08:00:00Z".to_owned())?;
    Ok(analysis::reading::Time::from_unix_ms(
        date.timestamp_millis(),
    ))
}

fn units(text: &str) -> Result<RangeInclusive<u8>, String> {
    let range = text.split_once('-').unwrap_or((text, text));
    let range = range.0.parse().ok().zip(range.1.parse().ok());
    let range = range.filter(|(first, last): &(u8, u8)| first <= last);
    let (first, last) = range.ok_or_else(|| "wanted two unit ids, as in 1-10".to_owned())?;
    Ok(first..=last)
}

fn format(text: &str) -> Result<export::Format, String> {
    export::Format::from_name(text).ok_or_else(|| "wanted csv or parquet".to_owned())
}

fn rate(text: &str) -> Result<f64, String> {
    let rate = text
        .parse::<f64>()
        .ok()
        .filter(|r| *r >= 1.0 && *r <= 3600.0);
    rate.ok_or_else(|| "wanted a number from 1 to 3600".to_owned())
}
