//! What leaves the house: to whom, what it tells, and what became of it.
//! Never in here: how it is kept (`outbox`), or how it leaves.

use super::StoreError;
use super::query::undecodable;
use analysis::reading::Time;
use chrono::NaiveDate;
use serde::{Deserialize, Serialize};
use std::fmt;

/// Something that leaves for one target.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Delivery {
    /// Its number.
    pub id: i64,
    /// What was made.
    pub made: NewDelivery,
    /// How often it was tried.
    pub tries: u32,
    /// When it is tried next; `None` when it has left or was given up.
    pub next_try: Option<Time>,
    /// Why the last try failed.
    pub last_error: Option<String>,
    /// When it was taken.
    pub sent: Option<Time>,
}

/// A delivery as it is made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewDelivery {
    /// Where to.
    pub target: Target,
    /// What it tells.
    pub about: About,
    /// The same at every try, so that whoever gets it knows a repeated one; the Message-ID of a mail.
    pub stable_id: String,
    /// When.
    pub at: Time,
    /// The news in it, by number.
    pub news: Vec<i64>,
}

/// Where something goes.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub enum Target {
    /// A mail to a reader, by his address.
    Mail(String),
    /// To a program by HTTP, by its name.
    Webhook(String),
    /// To the broker of the site file.
    Mqtt,
}

/// Which way something goes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Way {
    /// Mails to readers.
    Mail,
    /// HTTP to programs.
    Webhook,
    /// Messages to the broker.
    Mqtt,
}

impl Way {
    /// All of them.
    pub const ALL: [Way; 3] = [Way::Mail, Way::Webhook, Way::Mqtt];

    /// Its name in the file.
    pub fn name(self) -> &'static str {
        match self {
            Way::Mail => "mail",
            Way::Webhook => "webhook",
            Way::Mqtt => "mqtt",
        }
    }
}

impl Target {
    /// The name of the only broker that is told.
    const BROKER: &'static str = "broker";

    /// The way to it.
    pub fn way(&self) -> Way {
        match self {
            Target::Mail(_) => Way::Mail,
            Target::Webhook(_) => Way::Webhook,
            Target::Mqtt => Way::Mqtt,
        }
    }

    /// Its name on that way.
    pub fn name(&self) -> &str {
        match self {
            Target::Mail(name) | Target::Webhook(name) => name,
            Target::Mqtt => Self::BROKER,
        }
    }

    /// From its columns in the file.
    pub(super) fn read(way: Way, name: String) -> Self {
        match way {
            Way::Mail => Target::Mail(name),
            Way::Webhook => Target::Webhook(name),
            Way::Mqtt => Target::Mqtt,
        }
    }
}

impl fmt::Display for Target {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Target::Mail(address) => write!(f, "{address}"),
            Target::Webhook(name) => write!(f, "webhook {name}"),
            Target::Mqtt => write!(f, "the broker of [alerts.mqtt]"),
        }
    }
}

/// What a delivery tells.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum About {
    /// What is new of findings.
    News,
    /// A day at the site.
    Day(NaiveDate),
    /// A month at the site, by its first day.
    Month(NaiveDate),
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(super) enum AboutName {
    News,
    Day,
    Month,
}

impl About {
    /// Its name in the file.
    pub(super) fn name(self) -> &'static str {
        match self {
            About::News => "news",
            About::Day(_) => "day",
            About::Month(_) => "month",
        }
    }

    /// Which day or month, as `2026-06-21` or `2026-06`.
    pub fn period(self) -> Option<String> {
        match self {
            About::News => None,
            About::Day(day) => Some(day.to_string()),
            About::Month(first) => Some(first.format("%Y-%m").to_string()),
        }
    }

    /// From its columns in the file.
    pub(super) fn read(name: AboutName, period: Option<String>) -> Result<Self, StoreError> {
        let period = period.unwrap_or_default();
        let date = |text: &str| {
            let parsed = text.parse::<NaiveDate>();
            parsed.map_err(|_| undecodable("period", period.clone()))
        };
        Ok(match name {
            AboutName::News => About::News,
            AboutName::Day => About::Day(date(&period)?),
            AboutName::Month => About::Month(date(&format!("{period}-01"))?),
        })
    }
}

/// What became of a try.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Try {
    /// Number of the delivery.
    pub delivery: i64,
    /// Its id at every try: numbers begin anew in a new file.
    pub stable_id: String,
    /// When.
    pub at: Time,
    /// What.
    pub outcome: Outcome,
}

/// How a try ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// It was taken.
    Sent,
    /// It failed for this reason and is tried again at this time.
    Later(String, Time),
    /// It cannot ever leave, for this reason.
    GivenUp(String),
}
