//! A mail server of somebody else's (`acceptance/mail_server.py`), as a child process. It ends with the
//! value that holds it.

use crate::certificates::write_certificates;
use crate::peer::{Lines, Peer, after};
use std::path::PathBuf;
use tempfile::TempDir;

/// User and password of a server that wants them.
pub const LOGIN: (&str, &str) = ("dairy", "heron-12-pass");

/// The server.
#[derive(Debug)]
pub struct MailServer {
    folder: TempDir,
    peer: Peer,
    lines: Lines,
    port: u16,
}

impl MailServer {
    /// Starts one with `none`, `starttls` or `tls`; the encrypted ones want [`LOGIN`].
    pub fn start(security: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        write_certificates(folder.path(), 30);
        let mut options = vec!["--security", security];
        if security != "none" {
            options.extend(["--certificate", "server.pem", "--key", "server-key.pem"]);
            options.extend(["--user", LOGIN.0, "--password", LOGIN.1]);
        }
        let (peer, said) = Peer::start("mail_server.py", &options, folder.path());
        let lines = Lines::of(said);
        let mut server = Self {
            folder,
            peer,
            lines,
            port: 0,
        };
        let line = server.lines.next();
        server.port = after("listening on ", &line).parse().expect("a port");
        server
    }

    /// Host and port.
    pub fn address(&self) -> String {
        format!("localhost:{}", self.port)
    }

    /// The authority that has signed its certificate.
    pub fn authority(&self) -> PathBuf {
        self.folder.path().join("ca.pem")
    }

    /// What it does from now on: accept, refuse, later, stall, drop.
    pub fn set(&mut self, mode: &str) {
        self.peer.tell(mode);
        assert_eq!(self.lines.next(), format!("mode {mode}"));
    }

    /// The next mail that it takes, as a reader's program would show it.
    pub fn mail(&self) -> serde_json::Value {
        serde_json::from_str(&self.lines.next()).expect("JSON")
    }

    /// Whether it has taken another mail by now.
    pub fn has_mail(&self) -> bool {
        self.lines.has_next()
    }
}
