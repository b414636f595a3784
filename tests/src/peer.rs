//! A program of `acceptance/` in another language, as a child process. It ends with the value that
//! holds it.
//! Never in here: what a peer says.

use std::io::{BufReader, Write};
use std::path::Path;
use std::process::{Child, ChildStdout, Command, Stdio};

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
