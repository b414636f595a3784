//! A mail server of somebody else's (`acceptance/mail_server.py`), as a child process. It ends with the
//! value that holds it.

use crate::certificates::write_certificates;
use crate::sunspec_server::python;
use crate::wait::DEADLINE;
use std::io::{BufRead, BufReader, Write};
use std::path::PathBuf;
use std::process::{Child, ChildStdin, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use tempfile::TempDir;

/// User and password of a server that wants them.
pub const LOGIN: (&str, &str) = ("dairy", "heron-12-pass");

/// The server.
#[derive(Debug)]
pub struct MailServer {
    folder: TempDir,
    process: Child,
    stdin: ChildStdin,
    lines: Receiver<String>,
    port: u16,
}

impl MailServer {
    /// Starts one with `none`, `starttls` or `tls`; the encrypted ones want [`LOGIN`].
    pub fn start(security: &str) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        write_certificates(folder.path(), 30);
        let script = concat!(env!("CARGO_MANIFEST_DIR"), "/acceptance/mail_server.py");
        let mut command = Command::new(python());
        command.args([script, "--security", security]);
        if security != "none" {
            command.args(["--certificate", "server.pem", "--key", "server-key.pem"]);
            command.args(["--user", LOGIN.0, "--password", LOGIN.1]);
        }
        let mut process = command
            .current_dir(folder.path())
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .expect("NOONMARK_TEST_PYTHON names a program");
        let stdin = process.stdin.take().expect("piped");
        let stdout = BufReader::new(process.stdout.take().expect("piped"));
        let (say, lines) = channel();
        std::thread::spawn(move || {
            // Ends with the server, or when nobody listens any more.
            for line in stdout.lines().map_while(Result::ok) {
                if say.send(line).is_err() {
                    return;
                }
            }
        });
        let mut server = Self {
            folder,
            process,
            stdin,
            lines,
            port: 0,
        };
        let line = server.line();
        let port = line.strip_prefix("listening on ");
        let port = port.unwrap_or_else(|| panic!("the server said {line:?}"));
        server.port = port.parse().expect("a port");
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
        writeln!(self.stdin, "{mode}").expect("the server listens");
        assert_eq!(self.line(), format!("mode {mode}"));
    }

    /// The next mail that it takes, as a reader's program would show it.
    pub fn mail(&self) -> serde_json::Value {
        serde_json::from_str(&self.line()).expect("JSON")
    }

    /// Whether it has taken another mail by now.
    pub fn has_mail(&self) -> bool {
        self.lines.try_recv().is_ok()
    }

    fn line(&self) -> String {
        let line = self.lines.recv_timeout(DEADLINE);
        line.expect("the server says something; see its message above")
    }
}

impl Drop for MailServer {
    fn drop(&mut self) {
        // It may have ended by itself.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}
