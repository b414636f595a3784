//! A mail server of somebody else's (`acceptance/mail_server.py`), as a child process. It ends with the
//! value that holds it.

use crate::certificates::write_certificates;
use crate::peer::{Lines, Peer, after};
use serde_json::Value;
use std::collections::VecDeque;
use std::path::PathBuf;
use tempfile::TempDir;

/// User and password of a server that wants them.
pub const LOGIN: (&str, &str) = ("dairy", "heron-12-pass");

/// The server.
#[derive(Debug)]
pub struct MailServer {
    folder: TempDir,
    options: Vec<String>,
    port: u16,
    /// None while it is away.
    at_work: Option<(Peer, Lines)>,
    /// Mails that it has taken and nobody has asked for.
    taken: VecDeque<Value>,
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
        let mut server = Self {
            folder,
            options: options.into_iter().map(str::to_owned).collect(),
            port: 0,
            at_work: None,
            taken: VecDeque::new(),
        };
        server.start_again();
        server
    }

    /// Starts it on the port that it had, taking everything.
    pub fn start_again(&mut self) {
        let port = self.port.to_string();
        let mut options: Vec<&str> = self.options.iter().map(String::as_str).collect();
        options.extend(["--port", &port]);
        let (peer, said) = Peer::start("mail_server.py", &options, self.folder.path());
        let lines = Lines::of(said);
        let line = lines.next();
        self.port = after("listening on ", &line).parse().expect("a port");
        self.at_work = Some((peer, lines));
    }

    /// Ends it, with all connections, as a power cut does.
    pub fn stop(&mut self) {
        if let Some((peer, lines)) = self.at_work.take() {
            drop(peer);
            self.taken
                .extend(lines.rest().iter().filter_map(|line| mail(line)));
        }
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
        let (peer, lines) = self.at_work.as_mut().expect("it is not away");
        peer.tell(mode);
        loop {
            let line = lines.next();
            match mail(&line) {
                Some(mail) => self.taken.push_back(mail),
                None => break assert_eq!(line, format!("mode {mode}")),
            }
        }
    }

    /// The next mail that it takes, as a reader's program would show it.
    pub fn mail(&mut self) -> Value {
        self.taken.pop_front().unwrap_or_else(|| {
            let (_, lines) = self.at_work.as_ref().expect("it is not away");
            mail(&lines.next()).expect("JSON")
        })
    }

    /// Whether it has taken another mail by now.
    pub fn has_mail(&self) -> bool {
        let is_there = |(_, lines): &(Peer, Lines)| lines.has_next();
        !self.taken.is_empty() || self.at_work.as_ref().is_some_and(is_there)
    }

    /// Ends it; all mails that it has taken and nobody has asked for.
    pub fn all(mut self) -> Vec<Value> {
        self.stop();
        self.taken.into()
    }
}

/// A line that is a mail, and not what the server does.
fn mail(line: &str) -> Option<Value> {
    serde_json::from_str(line).ok()
}
