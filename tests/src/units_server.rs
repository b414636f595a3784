//! Three devices behind one connection (`acceptance/units_server.py`), started and stopped.

use crate::sunspec_server::python;
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};

/// What a device serves by channel within it; `None` where it says that it has no value.
pub type ServedValues = BTreeMap<String, Option<f64>>;

/// The server; ends when dropped.
pub struct UnitsServer {
    process: Child,
    place: String,
    served: BTreeMap<String, ServedValues>,
}

impl UnitsServer {
    /// Starts it with `tcp`, `rtu-over-tcp` or `pty`, and waits until it listens.
    pub fn start(link: &str) -> Self {
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/acceptance/units_server.py");
        let mut process = Command::new(python())
            .args([script, "--link", link])
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("NOONMARK_TEST_PYTHON names a program");
        let mut lines = BufReader::new(process.stdout.take().expect("piped")).lines();
        let mut after = |prefix: &str| {
            let line = lines.next().expect("the server goes on").expect("text");
            let rest = line.strip_prefix(prefix).map(str::to_owned);
            rest.unwrap_or_else(|| panic!("the server said {line:?}"))
        };
        let place = after("listening on ");
        let served = serde_json::from_str(&after("served ")).expect("JSON");
        Self {
            process,
            place,
            served,
        }
    }

    /// Host and port.
    pub fn address(&self) -> String {
        format!("127.0.0.1:{}", self.place)
    }

    /// The serial port.
    pub fn path(&self) -> &str {
        &self.place
    }

    /// What `inverter`, `weather` or `combiner` serves.
    pub fn served(&self, device: &str) -> &ServedValues {
        &self.served[device]
    }
}

impl Drop for UnitsServer {
    fn drop(&mut self) {
        // It may have ended by itself; either way it is gone after the wait.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
