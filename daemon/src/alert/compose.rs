//! A mail of the outbox, written from what the store knows now, and packed.
//! Never in here: words (`letter`), or sending.

use super::balance::balance;
use super::letter::{self, Letter, Site, Told};
use super::links::Links;
use super::pack::{Envelope, PackError, message_id, pack};
use crate::report::chart_files::{ChartFilesError, png};
use crate::store::{About, Delivery, News, Store, StoreError};
use crate::text::{at_site, midnight, utc_offset};
use analysis::chart::{ChartError, Size, SummaryInput};
use analysis::detect::Severity;
use analysis::diagnose::Finding;
use analysis::plant::Plant;
use analysis::reading::{Span, Time};
use chrono::{Days, Months, NaiveDate};
use chrono_tz::Tz;
use config::checked::{Alerts, Reader, SiteFile};
use lettre::Message;
use std::sync::Arc;
use thiserror::Error;
use tracing::warn;

/// The picture in a mail: as wide as a mail is shown, and no higher than three inputs need.
const PICTURE: Size = Size {
    width_px: 900,
    max_height_px: 1100,
};
/// Where very much is told at once it may be so high.
const TALLEST_PX: u32 = 2200;
/// What it shows: the day of what is new; the day and night before, where little of it has passed.
const PICTURE_SPAN: Span = Span::from_h(24);
const LEAST_OF_A_DAY: Span = Span::from_h(9);

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
            Some(at) => self.picture(store, told, at)?,
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
        Ok(letter::summary(self.site(), reader, name, &balance, &told))
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

    /// What it shows in words, and the picture; nothing while no slot has been closed.
    fn picture(
        &self,
        store: &Store,
        told: &[Told],
        around: Time,
    ) -> Result<Option<(String, Vec<u8>)>, ComposeError> {
        let Some((_, last)) = store.span()? else {
            return Ok(None);
        };
        let day = at_site(around, self.timezone).map(|date| date.date_naive());
        let from = day.map(|day| midnight(day, self.timezone));
        let from = from.unwrap_or(around - PICTURE_SPAN);
        let to = last.min(from + PICTURE_SPAN);
        let from = if to - from < LEAST_OF_A_DAY {
            to - PICTURE_SPAN
        } else {
            from
        };
        // A picture of the time before says nothing of what is told.
        if !told.iter().any(|t| t.finding.began < to) {
            return Ok(None);
        }
        let slots = store.slots(from, to)?;
        if slots.is_empty() {
            return Ok(None);
        }
        let findings: Vec<Finding> = told.iter().map(|t| t.finding.clone()).collect();
        let input = SummaryInput {
            site_name: &self.plant.site.name,
            plant: &self.plant,
            slots: &slots,
            findings: &findings,
            utc_offset: &|at| utc_offset(at, self.timezone),
        };
        let until = at_site(to, self.timezone).map(|d| d.format("%-d %B %Y, %H:%M").to_string());
        let caption = format!("The day until {}", until.unwrap_or_default());
        let drawn = match png(&input, PICTURE) {
            Err(ChartFilesError::Draw(ChartError::TooSmall {
                needed_height_px, ..
            })) if needed_height_px <= TALLEST_PX => {
                let taller = Size {
                    max_height_px: needed_height_px,
                    ..PICTURE
                };
                png(&input, taller)
            }
            drawn => drawn,
        };
        // The words must arrive: no mail waits for its picture.
        Ok(match drawn {
            Ok(png) => Some((caption, png)),
            Err(error) => {
                warn!(%error, "a mail goes without its picture");
                None
            }
        })
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
