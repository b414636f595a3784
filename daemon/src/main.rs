//! The program: what the command line says is done. Never in here: how.

use clap::Parser;
use config::checked::SiteFile;
use daemon::clock::Clock;
use daemon::command_line::{Cli, Command};
use daemon::commands::{
    backup, check, doctor, documents, exit, export, init, live, password, replay, report, run,
    scan, trial, verify,
};
use daemon::demo;
use daemon::report::Days;
use daemon::signals::Orders;
use daemon::text::with_reasons;
use std::future::Future;
use std::io::{self, IsTerminal};
use std::path::Path;
use std::process::ExitCode;
use tracing_subscriber::EnvFilter;

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
        Command::Check { site, live: false } => check_site(&site),
        Command::Check { site, live: true } => with_site(&site, |file| {
            in_runtime(async {
                let tried = live::live(&file, Clock::System, &mut io::stdout()).await;
                tried.unwrap_or(exit::CANNOT_WRITE)
            })
        }),
        Command::Replay { site, out } => with_site(&site, |file| {
            said(
                replay::replay(&site, &file, &out, &mut io::stdout().lock()),
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
                let orders = Orders::listen();
                let clock = match rehearse_from.zip(rehearse_rate) {
                    Some((from, rate)) => Clock::rehearsal(from, rate),
                    None => Clock::System,
                };
                said(
                    run::serve(&site, file, &out, clock, orders).await,
                    run::RunError::exit_code,
                )
            })
        }),
        Command::Scan(options) => in_runtime(async {
            let result = scan::scan(&options.scan(), &mut io::stdout()).await;
            said(result, scan::ScanError::exit_code)
        }),
        Command::Init(options) => in_runtime(async {
            let mut talk = init::Talk {
                answers: &mut io::BufReader::new(io::stdin()),
                is_person: io::stdin().is_terminal(),
                out: &mut io::stdout(),
            };
            let path = options.out.clone();
            let begun = init::init(&path, options.given(), &mut talk).await;
            said(begun, init::InitError::exit_code)
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
        Command::Doctor { site, store, out } => {
            let written = doctor::doctor(&site, &store, &out, Clock::System, &mut io::stdout());
            said(written, doctor::DoctorError::exit_code)
        }
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
                let told = trial::trial(&file, Clock::System, &mut io::stdout()).await;
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
                    report::report(&file, &store, &out, days, &mut io::stdout())
                }
                None => report::commissioning(&file, &store, &out, &mut io::stdout()),
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
        Command::Completions { shell } => {
            documents::completions(shell, &mut io::stdout());
            exit::DONE
        }
        Command::Schema { file } => said(
            documents::schema(file, &mut io::stdout()),
            documents::ManualError::exit_code,
        ),
        Command::Man { folder } => said(
            documents::manual(&folder, &mut io::stdout()),
            documents::ManualError::exit_code,
        ),
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

fn with_site(path: &Path, then: impl FnOnce(SiteFile) -> u8) -> u8 {
    match config::load(path) {
        Ok(site) => then(site),
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
    eprintln!("failed to {}", with_reasons(&error));
    code(&error)
}
