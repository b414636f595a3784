//! Who is told: people by mail, programs by HTTP and through a broker.

use super::{Address, Broker, Secret};
use analysis::detect::Severity;
use analysis::reading::Span;
use chrono::NaiveTime;
use std::path::PathBuf;

/// Who is told, and when.
#[derive(Debug, Clone, PartialEq)]
pub struct Alerts {
    /// When only a hazard is mailed.
    pub quiet: Option<QuietHours>,
    /// Time of day at the site at which daily and monthly mails are made.
    pub summary_at: NaiveTime,
    /// After this all readers are told of a hazard that nobody has acknowledged.
    pub remind_after: Span,
    /// Scheme and host under which readers reach the page, without a slash at the end.
    pub page: Option<String>,
    /// How mails leave; there is one where there are readers.
    pub mail: Option<MailServer>,
    /// Who gets mails, each address once.
    pub readers: Vec<Reader>,
    /// Programs that are told by HTTP, each id once.
    pub webhooks: Vec<Webhook>,
    /// The broker that is told.
    pub mqtt: Option<Announcer>,
}

impl Alerts {
    /// Where the site file says nothing.
    pub const SUMMARY_AT: NaiveTime = NaiveTime::from_hms_opt(7, 0, 0).expect("a time of day");

    /// Nobody is told anything.
    pub fn nobody() -> Self {
        Self {
            quiet: None,
            summary_at: Self::SUMMARY_AT,
            remind_after: Span::from_h(24),
            page: None,
            mail: None,
            readers: Vec::new(),
            webhooks: Vec::new(),
            mqtt: None,
        }
    }
}

/// A part of each day at the site; over midnight where it ends before it begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuietHours {
    /// Beginning.
    pub from: NaiveTime,
    /// End, never the same as the beginning.
    pub to: NaiveTime,
}

/// How mails leave.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MailServer {
    /// Where it listens.
    pub address: Address,
    /// Of the connection.
    pub security: MailSecurity,
    /// User name; with one there is encryption, or the server is on this machine.
    pub user: Option<String>,
    /// Where the password is.
    pub password: Option<Secret>,
    /// PEM file of the authority that is believed; the system's authorities where absent.
    pub ca_file: Option<PathBuf>,
    /// Address of the sender.
    pub from: String,
}

/// When the encryption of a connection to a mail server begins.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MailSecurity {
    /// At once.
    Tls,
    /// Before anything is said that matters.
    StartTls,
    /// Never.
    None,
}

/// Somebody who gets mails.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reader {
    /// As the mail greets.
    pub name: String,
    /// Where to.
    pub email: String,
    /// What he wants to read.
    pub role: Role,
    /// The least urgent finding that is worth a mail of its own.
    pub told_from: Severity,
    /// Mails in a day.
    pub most_per_day: u32,
}

/// A program that is told of findings by HTTP.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Its name.
    pub id: String,
    /// Where it is.
    pub url: HttpUrl,
    /// Where the secret is by which it knows us.
    pub secret: Secret,
    /// PEM file of the authority that is believed; the system's authorities where absent.
    pub ca_file: Option<PathBuf>,
    /// The least urgent finding that it is told.
    pub told_from: Severity,
    /// How long to wait for an answer.
    pub timeout: Span,
}

/// An address on the web: encrypted, or on this machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HttpUrl {
    /// All of it, as it is signed.
    pub text: String,
    /// Host and port.
    pub address: Address,
    /// Host, and the port unless it is the usual one, as a request names it.
    pub authority: String,
    /// Path and query.
    pub path: String,
    /// Whether the connection is encrypted.
    pub is_encrypted: bool,
}

/// The broker to which findings are published.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Announcer {
    /// How it lets us in.
    pub broker: Broker,
    /// All topics stand below this; no wildcard in it, and no source reads there.
    pub prefix: String,
    /// The least urgent finding that is published.
    pub told_from: Severity,
}

/// What a reader wants to read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Role {
    /// Plain words, and what it costs.
    Owner,
    /// Numbers, causes, what to do.
    Technician,
    /// The same, of a plant that was just handed over.
    Installer,
}
