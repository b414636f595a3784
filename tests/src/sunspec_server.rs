//! A SunSpec inverter and a weather station served by another library
//! (`acceptance/sunspec_server.py`), as a child process. It ends with the value that holds it.

use crate::peer::{Peer, after};
use analysis::reading::Time;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::ChildStdout;

/// What is served, by quantity and place.
pub type Served = BTreeMap<String, f64>;

/// The server.
#[derive(Debug)]
pub struct SunspecServer {
    peer: Peer,
    said: BufReader<ChildStdout>,
    port: u16,
}

impl SunspecServer {
    /// Unit id of the inverter.
    pub const INVERTER: u8 = 1;
    /// Unit id of the weather station.
    pub const STATION: u8 = 2;

    /// Starts it on a port of the loopback, 0 for a free one, and waits until it listens.
    pub fn start(port: u16, options: &[&str]) -> Self {
        let port = port.to_string();
        let own = ["--stop-at-end-of-input", "--port", &port];
        let options = [own.as_slice(), options].concat();
        let (peer, said) = Peer::start("sunspec_server.py", &options, Path::new("."));
        let mut server = Self {
            peer,
            said,
            port: 0,
        };
        let line = server.line();
        server.port = after("listening on ", &line).parse().expect("a port");
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
        self.peer.tell(command);
        serde_json::from_str(&self.line()).expect("JSON")
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        self.said.read_line(&mut line).expect("readable");
        assert!(!line.is_empty(), "the server ended; see its message above");
        line.trim_end().to_owned()
    }
}
