//! A SunSpec inverter and a weather station served by another library
//! (`acceptance/sunspec_server.py`), as a child process. It ends with the value that holds it.

use analysis::reading::Time;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader, Write};
use std::process::{Child, ChildStdin, ChildStdout, Command, Stdio};

/// What is served, by quantity and place.
pub type Served = BTreeMap<String, f64>;

/// The server.
#[derive(Debug)]
pub struct SunspecServer {
    process: Child,
    stdin: ChildStdin,
    stdout: BufReader<ChildStdout>,
    port: u16,
}

impl SunspecServer {
    /// Unit id of the inverter.
    pub const INVERTER: u8 = 1;
    /// Unit id of the weather station.
    pub const STATION: u8 = 2;

    /// Starts it on a port of the loopback, 0 for a free one, and waits until it listens.
    pub fn start(port: u16, options: &[&str]) -> Self {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/acceptance/sunspec_server.py");
        let mut process = Command::new(python())
            .args([script, "--stop-at-end-of-input"])
            .args(["--port", &port.to_string()])
            .args(options)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("NOONMARK_TEST_PYTHON names a program");
        let stdin = process.stdin.take().expect("piped");
        let stdout = BufReader::new(process.stdout.take().expect("piped"));
        let mut server = Self {
            process,
            stdin,
            stdout,
            port: 0,
        };
        let line = server.line();
        let port = line.strip_prefix("listening on ");
        let port = port.unwrap_or_else(|| panic!("the server said {line:?}"));
        server.port = port.parse().expect("a port");
        server
    }

    /// Where it listens.
    pub fn port(&self) -> u16 {
        self.port
    }

    /// What it serves from now on, for the inverter and for the station.
    pub fn ask(&mut self, command: &str) -> (Served, Served) {
        let answer = self.answer(command);
        let part = |name: &str| {
            let values = answer[name].as_object();
            let values = values.unwrap_or_else(|| panic!("no {name} in {answer}"));
            let number = |v: &serde_json::Value| v.as_f64().expect("a number");
            values.iter().map(|(k, v)| (k.clone(), number(v))).collect()
        };
        (part("inverter"), part("weather"))
    }

    /// What time it is for the server.
    pub fn now(&mut self) -> Time {
        let answer = self.answer("values");
        let ms = answer["now_unix_ms"].as_i64();
        Time::from_unix_ms(ms.unwrap_or_else(|| panic!("no time in {answer}")))
    }

    /// Ends it, with all connections. Tells where another one can take its place.
    pub fn unplug(self) -> u16 {
        self.port
    }

    fn answer(&mut self, command: &str) -> serde_json::Value {
        writeln!(self.stdin, "{command}").expect("the server listens");
        serde_json::from_str(&self.line()).expect("JSON")
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        self.stdout.read_line(&mut line).expect("readable");
        assert!(!line.is_empty(), "the server ended; see its message above");
        line.trim_end().to_owned()
    }
}

impl Drop for SunspecServer {
    fn drop(&mut self) {
        // It may have ended by itself; either way it is gone after the wait.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

pub(crate) fn python() -> String {
    std::env::var("NOONMARK_TEST_PYTHON").unwrap_or_else(|_| {
        panic!(
            "NOONMARK_TEST_PYTHON is not set. Run tests/run, or: python3 -m venv .venv && \
             .venv/bin/pip install -r tests/requirements.txt && \
             export NOONMARK_TEST_PYTHON=$PWD/.venv/bin/python"
        )
    })
}
