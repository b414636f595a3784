//! The program itself as a child process: started, listened to, told to stop.
//! A child ends with the value that holds it, also when a test fails.

use crate::wait::{DEADLINE, until};
use rustix::process::{Pid, Signal, kill_process};
use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Instant;

/// Every command of it.
pub const COMMANDS: [&str; 16] = [
    "check",
    "run",
    "replay",
    "scan",
    "init",
    "backup",
    "verify",
    "doctor",
    "export",
    "trial",
    "report",
    "password",
    "demo",
    "schema",
    "completions",
    "man",
];

/// The program that was built beside the tests.
///
/// Panics if there is none: cargo does not build it for the tests of another package.
pub fn noonmark() -> PathBuf {
    let test = std::env::current_exe().expect("a test knows its own file");
    let folder = test.parent().and_then(Path::parent);
    let name = format!("noonmark{}", std::env::consts::EXE_SUFFIX);
    let program = folder.expect("target/<profile>/deps").join(name);
    assert!(
        program.is_file(),
        "{} is missing. Run tests/run, or: cargo build --package noonmark",
        program.display()
    );
    program
}

/// What all threads of a process have had of a core [s], in the hundredths that the system counts; other
/// work on the machine does not count.
pub fn cpu_s(process: Pid) -> f64 {
    const TICKS_PER_S: f64 = 100.0;
    let path = format!("/proc/{}/stat", process.as_raw_nonzero());
    let text = std::fs::read_to_string(path).unwrap_or_default();
    // After the name in brackets: state is field 3, user and system time are 14 and 15.
    let fields = text.rsplit(')').next().unwrap_or_default();
    let ticks = fields.split_whitespace().skip(11).take(2);
    let ticks = ticks.filter_map(|n| n.parse::<f64>().ok());
    ticks.sum::<f64>() / TICKS_PER_S
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stream {
    Out,
    Err,
}

/// How the service sets the allocator.
pub fn environment_of_service() -> impl Iterator<Item = (&'static str, &'static str)> {
    let unit = include_str!("../../daemon/packaging/noonmark.service");
    let lines = unit
        .lines()
        .filter_map(|line| line.strip_prefix("Environment="));
    lines.filter_map(|line| line.split_once('='))
}

/// The program at work.
#[derive(Debug)]
pub struct Program {
    process: Child,
    lines: Receiver<(Stream, String)>,
    heard: Vec<(Stream, String)>,
    /// Lines that `wait_for_line` has passed.
    passed: usize,
}

/// How it ended.
#[derive(Debug)]
pub struct Ended {
    /// Exit code; `None` if a signal ended it.
    pub code: Option<i32>,
    /// What it printed.
    pub out: String,
    /// What it logged and complained about.
    pub err: String,
}

impl Program {
    /// Starts it with a command line.
    pub fn start<A: AsRef<OsStr>>(arguments: impl IntoIterator<Item = A>) -> Self {
        let mut command = Command::new(noonmark());
        command.args(arguments);
        Self::spawn(command)
    }

    /// Starts it with a command line and variables of its environment.
    pub fn start_with<A: AsRef<OsStr>>(
        arguments: impl IntoIterator<Item = A>,
        variables: &[(&str, &OsStr)],
    ) -> Self {
        let mut command = Command::new(noonmark());
        command.args(arguments).envs(variables.iter().copied());
        Self::spawn(command)
    }

    /// Starts it so that writing beyond a limit on file sizes is an error and not its end, as on a disk that is
    /// full, and with the service's allocator, so that memory is measured as it is used there. The limit itself
    /// is [`Program::limit_files`].
    pub fn start_under_a_quota<A: AsRef<OsStr>>(arguments: impl IntoIterator<Item = A>) -> Self {
        let mut command = Command::new("sh");
        // A signal that is ignored stays ignored in the program that takes the shell's place.
        command.args(["-c", "trap '' XFSZ; exec \"$@\"", "sh"]);
        command.arg(noonmark()).args(arguments);
        command.envs(environment_of_service());
        Self::spawn(command)
    }

    fn spawn(mut command: Command) -> Self {
        let command = command.stdin(Stdio::null()).env_remove("RUST_LOG");
        let mut process = command
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(|error| panic!("failed to start {command:?}: {error}"));
        let (sender, lines) = channel();
        let out = process.stdout.take().expect("piped");
        let err = process.stderr.take().expect("piped");
        listen(Stream::Out, out, sender.clone());
        listen(Stream::Err, err, sender);
        Self {
            process,
            lines,
            heard: Vec::new(),
            passed: 0,
        }
    }

    /// The next line, printed or logged, that contains `part`. Panics with everything that was
    /// heard if it ends before, or at the deadline.
    pub fn wait_for_line(&mut self, part: &str) -> String {
        let began = Instant::now();
        loop {
            while let Some((_, line)) = self.heard.get(self.passed) {
                self.passed += 1;
                if line.contains(part) {
                    return line.clone();
                }
            }
            let left = DEADLINE.saturating_sub(began.elapsed());
            match self.lines.recv_timeout(left) {
                Ok(heard) => self.heard.push(heard),
                Err(RecvTimeoutError::Timeout) => panic!("no line {part:?}:\n{}", self.said()),
                Err(RecvTimeoutError::Disconnected) => {
                    panic!("it ended without a line {part:?}:\n{}", self.said())
                }
            }
        }
    }

    /// Everything that was heard so far.
    pub fn said(&mut self) -> String {
        self.heard.extend(self.lines.try_iter());
        let line = |(_, line): &(Stream, String)| format!("{line}\n");
        self.heard.iter().map(line).collect()
    }

    /// Process id.
    pub fn pid(&self) -> Pid {
        Pid::from_child(&self.process)
    }

    /// No file of it may become longer than this from now on; `None`: any length.
    #[cfg(target_os = "linux")]
    pub fn limit_files(&self, bytes: Option<u64>) {
        use rustix::process::{Resource, Rlimit, prlimit};
        let limit = Rlimit {
            current: bytes,
            maximum: None,
        };
        prlimit(Some(self.pid()), Resource::Fsize, limit).expect("our own child");
    }

    /// Asks it to stop, as a supervisor does, and waits for its end.
    pub fn terminate(self) -> Ended {
        kill_process(self.pid(), Signal::TERM).expect("it runs");
        self.end()
    }

    /// Asks it to read its site file again.
    pub fn reload(&self) {
        kill_process(self.pid(), Signal::HUP).expect("it runs");
    }

    /// Ends it without a chance to do anything, as a power cut does.
    pub fn kill(mut self) {
        self.process.kill().expect("it runs");
        self.process.wait().expect("it ended");
    }

    /// Waits for its end.
    pub fn end(mut self) -> Ended {
        let status = until("end of the program", || self.exited());
        // The readers end with the streams, so this does as well.
        self.heard.extend(self.lines.iter());
        let text = |stream| {
            let lines = self.heard.iter().filter(|(from, _)| *from == stream);
            lines.map(|(_, line)| format!("{line}\n")).collect()
        };
        Ended {
            code: status.code(),
            out: text(Stream::Out),
            err: text(Stream::Err),
        }
    }

    fn exited(&mut self) -> Option<ExitStatus> {
        self.process.try_wait().expect("our own child")
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        if self.exited().is_none() {
            // It may end just now by itself; either way it is gone after the wait.
            let _ = self.process.kill();
            let _ = self.process.wait();
        }
    }
}

fn listen(stream: Stream, from: impl Read + Send + 'static, to: Sender<(Stream, String)>) {
    std::thread::spawn(move || {
        for line in BufReader::new(from).lines() {
            let line = line.expect("the program writes UTF-8");
            if to.send((stream, line)).is_err() {
                return;
            }
        }
    });
}
