//! A mail of the outbox, written from what the store knows now, and packed.
//! Never in here: words (`letter`), or sending.

use super::balance::balance;
use super::letter::{self, Letter, Site, Told};
use super::links::Links;
use super::pack::{Envelope, PackError, message_id, pack};
use super::picture::picture;
use crate::store::{About, Delivery, News, Store, StoreError};
use crate::text::{day_at, midnight};
use analysis::detect::Severity;
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::Time;
use chrono::{Days, Months, NaiveDate};
use chrono_tz::Tz;
use config::checked::{Alerts, Reader, SiteFile};
use lettre::Message;
use std::sync::Arc;
use thiserror::Error;

/// Why a mail cannot be written. Messages read after "failed to".
#[derive(Debug, Error)]
pub enum ComposeError {
    /// The store cannot be read.
    #[error(transparent)]
    Store(#[from] StoreError),
    /// The reader is not in the site file any more.
    #[error("write to {reader}: the site file has no such reader any more")]
    NoReader {
        /// His address.
        reader: String,
    },
    /// The mail cannot be packed.
    #[error(transparent)]
    Pack(#[from] PackError),
}

/// A mail that is ready to leave.
#[derive(Debug)]
pub struct Composed {
    /// Its words.
    pub letter: Letter,
    /// The picture in it, as PNG.
    pub picture: Option<Vec<u8>>,
    /// All of it, packed.
    pub message: Message,
}

/// Writes mails of one site.
#[derive(Debug, Clone)]
pub struct Composer {
    /// The plant.
    pub plant: Arc<Plant>,
    /// Its time zone.
    pub timezone: Tz,
    /// Who gets mails.
    pub alerts: Arc<Alerts>,
    /// Address of the sender.
    pub from: String,
    /// Where readers can say that they have seen something, if they can.
    pub links: Option<Links>,
}

impl Composer {
    /// Of a site whose file says how mails leave.
    pub fn of(site: &SiteFile) -> Option<Self> {
        Some(Self {
            plant: Arc::new(site.plant.clone()),
            timezone: site.timezone,
            alerts: Arc::new(site.alerts.clone()),
            from: site.alerts.mail.as_ref()?.from.clone(),
            links: None,
        })
    }

    /// A mail as it leaves at `now`, and what stands in it.
    ///
    /// # Errors
    /// If the store cannot be read or the mail cannot be packed.
    pub fn compose(
        &self,
        store: &Store,
        mail: &Delivery,
        now: Time,
    ) -> Result<Composed, ComposeError> {
        let reader = self.reader(mail.made.target.name())?;
        let news = store.told(mail.id)?;
        let told = self.with_links(told(&news), now);
        let (letter, picture) = match mail.made.about {
            About::News => self.of_news(store, reader, &told)?,
            About::Day(day) => {
                let next = day.checked_add_days(Days::new(1)).unwrap_or(day);
                let name = day.format("%A %-d %B %Y").to_string();
                (
                    self.of_period(store, reader, &name, (day, next), told)?,
                    None,
                )
            }
            About::Month(first) => {
                let next = first.checked_add_months(Months::new(1)).unwrap_or(first);
                let name = first.format("%B %Y").to_string();
                (
                    self.of_period(store, reader, &name, (first, next), told)?,
                    None,
                )
            }
        };
        let threads = self.threads(store, reader, mail, &news)?;
        let envelope = self.envelope(reader, mail.made.stable_id.clone(), threads, now);
        let message = pack(&letter, picture.clone(), envelope)?;
        Ok(Composed {
            letter,
            picture,
            message,
        })
    }

    /// A mail to the n-th reader that says only that mails arrive.
    ///
    /// # Errors
    /// If it cannot be packed.
    pub fn trial(&self, n: usize, now: Time) -> Result<Message, ComposeError> {
        let reader = &self.alerts.readers[n];
        let letter = letter::trial(self.site(), reader);
        let message_id = message_id(now, n, "trial", &self.from);
        let envelope = self.envelope(reader, message_id, Vec::new(), now);
        Ok(pack(&letter, None, envelope)?)
    }

    fn envelope<'a>(
        &'a self,
        reader: &'a Reader,
        message_id: String,
        threads: Vec<String>,
        now: Time,
    ) -> Envelope<'a> {
        Envelope {
            from: (format!("Noonmark, {}", self.plant.site.name), &self.from),
            to: (reader.name.clone(), &reader.email),
            message_id,
            threads,
            now,
        }
    }

    fn reader(&self, address: &str) -> Result<&Reader, ComposeError> {
        let mut readers = self.alerts.readers.iter();
        let reader = readers.find(|reader| reader.email == address);
        reader.ok_or_else(|| ComposeError::NoReader {
            reader: address.to_owned(),
        })
    }

    fn of_news(
        &self,
        store: &Store,
        reader: &Reader,
        told: &[Told],
    ) -> Result<(Letter, Option<Vec<u8>>), ComposeError> {
        let latest = told
            .iter()
            .map(|t| t.finding.ended.unwrap_or(t.finding.found))
            .max();
        let picture = match latest {
            Some(at) => picture((&self.plant, self.timezone), store, told, at)?,
            None => None,
        };
        let (caption, png) = picture.unzip();
        let letter = letter::news(self.site(), reader, told, caption.as_deref());
        Ok((letter, png))
    }

    fn of_period(
        &self,
        store: &Store,
        reader: &Reader,
        name: &str,
        (first, next): (NaiveDate, NaiveDate),
        mut told: Vec<Told>,
    ) -> Result<Letter, ComposeError> {
        let (from, to) = (
            midnight(first, self.timezone),
            midnight(next, self.timezone),
        );
        let findings = store.findings()?;
        let balance = balance(&self.plant, store, &findings, (from, to))?;
        let stood = findings.iter().filter(|f| {
            f.severity > Severity::Note && f.began < to && f.ended.is_none_or(|end| end >= from)
        });
        for finding in stood {
            if !told.iter().any(|t| t.finding.id == finding.id) {
                told.push(Told {
                    finding: finding.clone(),
                    news: Vec::new(),
                    link: None,
                });
            }
        }
        let begun = store.span()?.and_then(|(at, _)| day_at(at, self.timezone));
        let period = letter::Of {
            name,
            readings_from: begun.filter(|day| (first..next).contains(day) && *day > first),
        };
        Ok(letter::summary(
            self.site(),
            reader,
            period,
            &balance,
            &told,
        ))
    }

    /// What stands can be acknowledged.
    fn with_links(&self, mut told: Vec<Told>, now: Time) -> Vec<Told> {
        for told in told.iter_mut().filter(|t| t.finding.ended.is_none()) {
            let links = self.links.as_ref();
            told.link = links.map(|links| links.acknowledge(&told.finding, now));
        }
        told
    }

    fn site(&self) -> Site<'_> {
        Site {
            plant: &self.plant,
            timezone: self.timezone,
            readers: &self.alerts.readers,
        }
    }

    /// Message-IDs of the mails that told this reader first of what is in this one.
    fn threads(
        &self,
        store: &Store,
        reader: &Reader,
        mail: &Delivery,
        news: &[(News, Finding)],
    ) -> Result<Vec<String>, ComposeError> {
        let mut threads = Vec::new();
        for (_, finding) in news {
            let thread = store.thread(&reader.email, &finding.id)?;
            let others = thread.filter(|id| *id != mail.made.stable_id && !threads.contains(id));
            threads.extend(others);
        }
        Ok(threads)
    }
}

/// The findings that the news are of, by their beginning.
fn told(news: &[(News, Finding)]) -> Vec<Told> {
    let mut told: Vec<Told> = Vec::new();
    for (news, finding) in news {
        match told.iter_mut().find(|t| t.finding.id == finding.id) {
            Some(one) => one.news.push(news.what),
            None => told.push(Told {
                finding: finding.clone(),
                news: vec![news.what],
                link: None,
            }),
        }
    }
    told.sort_by(|a, b| (a.finding.began, &a.finding.id).cmp(&(b.finding.began, &b.finding.id)));
    told
}
