//! An MQTT broker of somebody else's, on a port and in a folder of its own; ends with the value that holds it.

use crate::certificates::{run, write_certificates, write_identity};
use crate::peer::Lines;
use crate::wait::until;
use std::fs;
use std::io::Write;
use std::net::{TcpListener, TcpStream};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use tempfile::TempDir;

/// User and password of [`Access::Password`].
pub const LOGIN: (&str, &str) = ("site", "swallow-7");

/// Whom it lets in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Access {
    /// Everybody.
    Everybody,
    /// Who knows [`LOGIN`].
    Password,
    /// Over an encrypted connection, with a certificate that is valid for so many days from now (it was
    /// valid until yesterday where negative).
    Encrypted(i32),
    /// The same, and who comes has to have a certificate that its authority has signed.
    Certificate,
}

/// A broker at work.
pub struct Broker {
    folder: TempDir,
    access: Access,
    port: u16,
    process: Option<Child>,
}

impl Broker {
    /// Starts one.
    pub fn start(access: Access) -> Self {
        let folder = tempfile::tempdir().expect("a folder");
        let free = TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = free.local_addr().expect("bound").port();
        drop(free);
        let mut settings = format!("listener {port} 127.0.0.1\npersistence false\nuser root\n");
        settings += match access {
            Access::Password => "allow_anonymous false\npassword_file passwords\n",
            Access::Certificate => {
                "allow_anonymous true\ncafile ca.pem\nrequire_certificate true\n"
            }
            Access::Everybody | Access::Encrypted(_) => "allow_anonymous true\n",
        };
        let mut broker = Self {
            folder,
            access,
            port,
            process: None,
        };
        match access {
            Access::Password => broker.write_password(),
            Access::Encrypted(days) => settings += broker.write_certificates(days),
            Access::Certificate => {
                settings += broker.write_certificates(30);
                broker.identity("publisher", 30);
            }
            Access::Everybody => {}
        }
        fs::write(broker.path("broker.conf"), settings).expect("room for it");
        broker.start_again();
        broker
    }

    /// Host and port.
    pub fn address(&self) -> String {
        format!("localhost:{}", self.port)
    }

    /// The authority that has signed its certificate.
    pub fn authority(&self) -> PathBuf {
        self.path("ca.pem")
    }

    /// A certificate that the same authority has signed for somebody, valid for so many days, and its key.
    pub fn identity(&self, name: &str, days: i32) -> (PathBuf, PathBuf) {
        write_identity(self.folder.path(), name, days);
        let file = |end: &str| self.path(&format!("{name}{end}"));
        (file(".pem"), file("-key.pem"))
    }

    /// Starts it on the port that it had.
    pub fn start_again(&mut self) {
        let process = Command::new("mosquitto")
            .args(["-c", "broker.conf"])
            .current_dir(self.folder.path())
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .expect("mosquitto is installed by tests/run");
        self.process = Some(process);
        until("the broker listens", || {
            TcpStream::connect(("127.0.0.1", self.port)).ok()
        });
    }

    /// Ends it, as a power cut does.
    pub fn stop(&mut self) {
        if let Some(mut process) = self.process.take() {
            process.kill().expect("it was started here");
            process.wait().expect("it ended");
        }
    }

    /// Publishes a message as some device would.
    pub fn publish(&self, topic: &str, payload: &[u8], is_retained: bool) {
        let mut command = Command::new("mosquitto_pub");
        let port = self.port.to_string();
        command.args(["-h", "localhost", "-p", &port, "-q", "1", "-t", topic, "-s"]);
        match self.access {
            Access::Password => {
                command.args(["-u", LOGIN.0, "-P", LOGIN.1]);
            }
            Access::Encrypted(_) => {
                command.arg("--cafile").arg(self.authority());
            }
            Access::Certificate => {
                command.arg("--cafile").arg(self.authority());
                command.arg("--cert").arg(self.path("publisher.pem"));
                command.arg("--key").arg(self.path("publisher-key.pem"));
            }
            Access::Everybody => {}
        }
        if is_retained {
            command.arg("-r");
        }
        let mut process = command
            .stdin(Stdio::piped())
            .spawn()
            .expect("it is installed");
        let mut stdin = process.stdin.take().expect("piped");
        stdin.write_all(payload).expect("taken");
        drop(stdin);
        assert!(process.wait().expect("it ended").success(), "{command:?}");
    }

    /// Listens to a topic as somebody else would: a line for each message, `R topic payload` where R is 1
    /// of one that was kept from earlier.
    pub fn listen(&self, topic: &str) -> Listener {
        let port = self.port.to_string();
        let mut command = Command::new("mosquitto_sub");
        command.args(["-h", "localhost", "-p", &port, "-q", "1", "-t", topic]);
        command.args(["-F", "%r %t %p"]);
        if self.access == Access::Password {
            command.args(["-u", LOGIN.0, "-P", LOGIN.1]);
        }
        let mut process = command
            .stdout(Stdio::piped())
            .spawn()
            .expect("it is installed");
        let said = process.stdout.take().expect("piped");
        Listener {
            process,
            lines: Lines::of(said),
        }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn write_certificates(&self, days: i32) -> &'static str {
        write_certificates(self.folder.path(), days);
        "certfile server.pem\nkeyfile server-key.pem\n"
    }

    fn write_password(&self) {
        run(
            self.folder.path(),
            "mosquitto_passwd",
            &["-b", "-c", "passwords", LOGIN.0, LOGIN.1],
        );
    }
}

/// Somebody who listens.
pub struct Listener {
    process: Child,
    lines: Lines,
}

impl Listener {
    /// The next message.
    pub fn line(&self) -> String {
        self.lines.next()
    }

    /// The messages up to the first one with this in it.
    pub fn until(&self, part: &str) -> Vec<String> {
        let mut lines = Vec::new();
        loop {
            lines.push(self.line());
            if lines.last().is_some_and(|line| line.contains(part)) {
                return lines;
            }
        }
    }
}

impl Drop for Listener {
    fn drop(&mut self) {
        // It may have ended by itself; either way it is gone after the wait.
        let _ = self.process.kill();
        let _ = self.process.wait();
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.stop();
    }
}
