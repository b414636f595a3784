//! A program of `acceptance/` in another language, as a child process. It ends with the value that
//! holds it.
//! Never in here: what a peer says.

use crate::wait::DEADLINE;
use std::ffi::OsStr;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};

/// The program at work.
#[derive(Debug)]
pub(crate) struct Peer {
    process: Child,
}

impl Peer {
    /// Starts it in a folder; gives what it says too.
    pub fn start(script: &str, options: &[&str], folder: &Path) -> (Self, BufReader<ChildStdout>) {
        let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("acceptance");
        let mut process = Command::new(python())
            .arg(scripts.join(script))
            .args(options)
            .current_dir(folder)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("NOONMARK_TEST_PYTHON names a program");
        let said = process.stdout.take().expect("piped");
        (Self { process }, BufReader::new(said))
    }

    /// Tells it something.
    pub fn tell(&mut self, line: &str) {
        let mut stdin = self.process.stdin.as_ref().expect("piped");
        writeln!(stdin, "{line}").expect("the server listens");
    }
}

impl Drop for Peer {
    fn drop(&mut self) {
        // It may have ended by itself; either way it is gone after the wait.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

/// What a program says, line by line, read as it comes.
#[derive(Debug)]
pub(crate) struct Lines(Receiver<String>);

impl Lines {
    /// Reads until the program ends, or until nobody listens any more.
    pub fn of(said: impl Read + Send + 'static) -> Self {
        let (say, lines) = channel();
        std::thread::spawn(move || {
            for line in BufReader::new(said).lines().map_while(Result::ok) {
                if say.send(line).is_err() {
                    return;
                }
            }
        });
        Self(lines)
    }

    /// The next one.
    pub fn next(&self) -> String {
        let line = self.0.recv_timeout(DEADLINE);
        line.expect("the program says something; see its message above")
    }

    /// Whether there is another by now; it is taken.
    pub fn has_next(&self) -> bool {
        self.0.try_recv().is_ok()
    }

    /// All that is left, of a program that has ended.
    pub fn rest(self) -> Vec<String> {
        self.0.iter().collect()
    }
}

/// What a script of `acceptance/` says of these arguments. Panics with all that it has said where it ends as
/// wrong.
pub fn judged(script: &str, arguments: impl IntoIterator<Item = impl AsRef<OsStr>>) -> String {
    let scripts = Path::new(env!("CARGO_MANIFEST_DIR")).join("acceptance");
    let output = Command::new(python())
        .arg(scripts.join(script))
        .args(arguments)
        .output()
        .expect("NOONMARK_TEST_PYTHON names a program");
    let said = String::from_utf8(output.stdout).expect("UTF-8");
    let wrong = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{said}\n{wrong}");
    said
}

/// What a peer says behind a prefix.
pub(crate) fn after<'a>(prefix: &str, line: &'a str) -> &'a str {
    let rest = line.strip_prefix(prefix);
    rest.unwrap_or_else(|| panic!("the server said {line:?}"))
}

/// The interpreter that has the peers of the tests; panics with what to do where none is named.
pub fn python() -> String {
    std::env::var("NOONMARK_TEST_PYTHON").unwrap_or_else(|_| {
        panic!(
            "NOONMARK_TEST_PYTHON is not set. Run tests/run, or: python3 -m venv .venv && \
             .venv/bin/pip install -r tests/requirements.txt && \
             export NOONMARK_TEST_PYTHON=$PWD/.venv/bin/python"
        )
    })
}
