//! Mails that were made, and what became of them.
//! Never in here: what stands in a mail, or when one is due.

use super::query::{each_row, get, named, undecodable};
use super::{Store, StoreError};
use analysis::diagnose::FindingId;
use analysis::reading::Time;
use chrono::NaiveDate;
use rusqlite::{Connection, Params, TransactionBehavior, params};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// A mail to one reader.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mail {
    /// Its number.
    pub id: i64,
    /// What was made.
    pub made: NewMail,
    /// How often it was tried to send it.
    pub tries: u32,
    /// When it is tried next; `None` when it has left or was given up.
    pub next_try: Option<Time>,
    /// Why the last try failed.
    pub last_error: Option<String>,
    /// When a server took it.
    pub sent: Option<Time>,
}

/// A mail as it is made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NewMail {
    /// Address.
    pub reader: String,
    /// What it tells.
    pub about: About,
    /// The same at every try, so that a reader's program knows a repeated one.
    pub message_id: String,
    /// When.
    pub at: Time,
    /// The news in it, by number.
    pub news: Vec<i64>,
}

/// What a mail tells.
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
enum AboutName {
    News,
    Day,
    Month,
}

impl About {
    /// Its name in the file.
    fn name(self) -> &'static str {
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
    fn read(name: AboutName, period: Option<String>) -> Result<Self, StoreError> {
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

/// What became of a try to send a mail.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Try {
    /// Number of the mail.
    pub mail: i64,
    /// When.
    pub at: Time,
    /// What.
    pub outcome: Outcome,
}

/// How a try to send a mail ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// A server took it.
    Sent,
    /// It failed for this reason and is tried again at this time.
    Later(String, Time),
    /// It cannot ever be sent, for this reason.
    GivenUp(String),
}

impl Store {
    /// Puts a mail into the outbox, to be sent at once. One of a day or month that is there already
    /// stays as it is.
    pub fn make_mail(&mut self, mail: &NewMail) -> Result<(), StoreError> {
        let doing = "put a mail into the outbox";
        self.settled()?;
        let change = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::at(doing))?;
        write_mail(&change, mail)
            .and_then(|()| change.commit())
            .map_err(StoreError::at(doing))
    }

    /// Notes what became of a try.
    pub fn note_try(&mut self, tried: &Try) -> Result<(), StoreError> {
        let (error, next, sent) = match &tried.outcome {
            Outcome::Sent => (None, None, Some(tried.at.unix_ms())),
            Outcome::Later(error, next) => (Some(error), Some(next.unix_ms()), None),
            Outcome::GivenUp(error) => (Some(error), None, None),
        };
        self.settled()?
            .prepare_cached(
                "UPDATE mail SET tries = tries + 1, last_error = coalesce(?2, last_error),
                     next_try_utc_ms = ?3, sent_utc_ms = ?4
                 WHERE id = ?1",
            )
            .and_then(|mut update| update.execute(params![tried.mail, error, next, sent]))
            .map_err(StoreError::at("note what became of a mail"))?;
        Ok(())
    }

    /// The mails that have not left, oldest first.
    pub fn waiting_mails(&self) -> Result<Vec<Mail>, StoreError> {
        self.mails("next_try_utc_ms IS NOT NULL", [])
    }

    /// How many mails have not left that were made before a time.
    pub fn late_mails(&self, before: Time) -> Result<usize, StoreError> {
        let waiting = self.waiting_mails()?;
        Ok(waiting.iter().filter(|mail| mail.made.at < before).count())
    }

    /// The mails that were made from a time on, in order.
    pub fn mails_since(&self, from: Time) -> Result<Vec<Mail>, StoreError> {
        self.mails("made_utc_ms >= ?1", [from.unix_ms()])
    }

    /// Message-ID of the first mail that told a reader of a finding: its thread.
    pub fn thread(&self, reader: &str, finding: &FindingId) -> Result<Option<String>, StoreError> {
        let mut thread = None;
        let sql = "SELECT message_id FROM mail
                   WHERE reader = ?1 AND id = (
                       SELECT min(m.id) FROM news n JOIN mail_news k ON k.news = n.id
                       JOIN mail m ON m.id = k.mail WHERE n.finding = ?2 AND m.reader = ?1)";
        each_row(self.settled()?, sql, [reader, finding.as_str()], |row| {
            thread = Some(get(row, "message_id")?);
            Ok(())
        })?;
        Ok(thread)
    }

    fn mails(&self, which: &str, params: impl Params + Clone) -> Result<Vec<Mail>, StoreError> {
        let db = self.settled()?;
        let mut news: BTreeMap<i64, Vec<i64>> = BTreeMap::new();
        let of_mails = format!(
            "SELECT mail, news FROM mail_news WHERE mail IN (SELECT id FROM mail WHERE {which})"
        );
        each_row(db, &of_mails, params.clone(), |row| {
            let of_mail = news.entry(get(row, "mail")?).or_default();
            of_mail.push(get(row, "news")?);
            Ok(())
        })?;
        let mut mails = Vec::new();
        let sql = format!("SELECT * FROM mail WHERE {which} ORDER BY id");
        each_row(db, &sql, params, |row| {
            let time = |column| Ok(get::<Option<i64>>(row, column)?.map(Time::from_unix_ms));
            let id = get(row, "id")?;
            mails.push(Mail {
                id,
                made: NewMail {
                    reader: get(row, "reader")?,
                    about: About::read(named(row, "about")?, get(row, "period")?)?,
                    message_id: get(row, "message_id")?,
                    at: Time::from_unix_ms(get(row, "made_utc_ms")?),
                    news: news.remove(&id).unwrap_or_default(),
                },
                tries: get(row, "tries")?,
                next_try: time("next_try_utc_ms")?,
                last_error: get(row, "last_error")?,
                sent: time("sent_utc_ms")?,
            });
            Ok(())
        })?;
        Ok(mails)
    }
}

fn write_mail(db: &Connection, mail: &NewMail) -> rusqlite::Result<()> {
    let (about, period) = (mail.about.name(), mail.about.period());
    let at = mail.at.unix_ms();
    let mut insert = db.prepare_cached(
        "INSERT INTO mail (reader, about, period, message_id, made_utc_ms, next_try_utc_ms)
         VALUES (?1, ?2, ?3, ?4, ?5, ?5)
         ON CONFLICT (reader, about, period) WHERE period IS NOT NULL DO NOTHING",
    )?;
    if insert.execute(params![mail.reader, about, period, mail.message_id, at])? == 0 {
        return Ok(());
    }
    let id = db.last_insert_rowid();
    let mut tell = db.prepare_cached("INSERT INTO mail_news (news, mail) VALUES (?1, ?2)")?;
    for news in &mail.news {
        tell.execute([*news, id])?;
    }
    Ok(())
}
