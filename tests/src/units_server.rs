//! Three devices behind one connection (`acceptance/units_server.py`), started and stopped.

use crate::peer::{Peer, after};
use std::collections::BTreeMap;
use std::io::BufRead;
use std::path::Path;

/// What a device serves by channel within it; `None` where it says that it has no value.
pub type ServedValues = BTreeMap<String, Option<f64>>;

/// The server; ends when dropped.
pub struct UnitsServer {
    _peer: Peer,
    place: String,
    served: BTreeMap<String, ServedValues>,
}

impl UnitsServer {
    /// Starts it with `tcp`, `rtu-over-tcp` or `pty`, and waits until it listens.
    pub fn start(link: &str) -> Self {
        let (peer, said) = Peer::start("units_server.py", &["--link", link], Path::new("."));
        let mut lines = said.lines();
        let mut line = || lines.next().expect("the server goes on").expect("text");
        let place = after("listening on ", &line()).to_owned();
        let served = serde_json::from_str(after("served ", &line())).expect("JSON");
        Self {
            _peer: peer,
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
