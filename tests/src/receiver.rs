//! A receiver of news by HTTP (`acceptance/receiver.py`), as a child process. It ends with the value that
//! holds it.

use crate::certificates::write_certificates;
use crate::peer::{Lines, Peer, after};
use std::path::PathBuf;
use tempfile::TempDir;

/// What it knows us by: the webhook's name and the secret.
pub const KNOWN: (&str, &str) = ("desk", "plover-31-secret");

/// The receiver.
#[derive(Debug)]
pub struct Receiver {
    folder: TempDir,
    peer: Peer,
    lines: Lines,
    port: u16,
    is_encrypted: bool,
}

impl Receiver {
    /// Starts one.
    pub fn start(is_encrypted: bool) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        write_certificates(folder.path(), 30);
        let mut options = vec!["--keyid", KNOWN.0, "--secret", KNOWN.1];
        if is_encrypted {
            options.extend(["--certificate", "server.pem", "--key", "server-key.pem"]);
        }
        let (peer, said) = Peer::start("receiver.py", &options, folder.path());
        let lines = Lines::of(said);
        let line = lines.next();
        let port = after("listening on ", &line).parse().expect("a port");
        Self {
            folder,
            peer,
            lines,
            port,
            is_encrypted,
        }
    }

    /// Where it takes what is posted.
    pub fn url(&self) -> String {
        let scheme = if self.is_encrypted { "https" } else { "http" };
        format!("{scheme}://localhost:{}/plants/dairy?by=post", self.port)
    }

    /// The authority that has signed its certificate.
    pub fn authority(&self) -> PathBuf {
        self.folder.path().join("ca.pem")
    }

    /// What it does from now on; see the script.
    pub fn set(&mut self, mode: &str) {
        self.peer.tell(mode);
        assert_eq!(self.lines.next(), format!("mode {mode}"));
    }

    /// The next call that it takes: path, type, body and why it is not verified.
    pub fn call(&self) -> serde_json::Value {
        serde_json::from_str(&self.lines.next()).expect("JSON")
    }

    /// Whether it has taken another call by now.
    pub fn has_call(&self) -> bool {
        self.lines.has_next()
    }
}
