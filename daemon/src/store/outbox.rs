//! The outbox: what is to leave, by mail, by HTTP or to a broker, and what became of it.
//! Never in here: what stands in it, or when something is due.

use super::delivery::{About, Delivery, NewDelivery, Outcome, Target, Try};
use super::news::{IN_QUESTION, read_news};
use super::query::{each_row, get, named};
use super::{News, Store, StoreError};
use analysis::diagnose::{Finding, FindingId};
use analysis::reading::{Span, Time};
use rusqlite::{Connection, Params, TransactionBehavior, params};
use std::collections::BTreeMap;

/// What has waited for so long is late: a person must act.
pub const LATE_AFTER: Span = Span::from_h(24);

impl Store {
    /// Puts something into the outbox, to leave at once. A mail of a day or month that is there already
    /// stays as it is.
    pub fn post(&mut self, made: &NewDelivery) -> Result<(), StoreError> {
        let doing = "put something into the outbox";
        self.settled()?;
        let change = self
            .db
            .transaction_with_behavior(TransactionBehavior::Immediate)
            .map_err(StoreError::at(doing))?;
        write(&change, made)
            .and_then(|()| change.commit())
            .map_err(StoreError::at(doing))
    }

    /// Notes what became of a try. One of a delivery that another file has is nothing to this one.
    pub fn note_try(&mut self, tried: &Try) -> Result<(), StoreError> {
        let (error, next, sent) = match &tried.outcome {
            Outcome::Sent => (None, None, Some(tried.at.unix_ms())),
            Outcome::Later(error, next) => (Some(error), Some(next.unix_ms()), None),
            Outcome::GivenUp(error) => (Some(error), None, None),
        };
        self.settled()?
            .prepare_cached(
                "UPDATE delivery SET tries = tries + 1, last_error = coalesce(?2, last_error),
                     next_try_utc_ms = ?3, sent_utc_ms = ?4
                 WHERE id = ?1 AND stable_id = ?5",
            )
            .and_then(|mut update| {
                let id = &tried.stable_id;
                update.execute(params![tried.delivery, error, next, sent, id])
            })
            .map_err(StoreError::at("note what became of a delivery"))?;
        Ok(())
    }

    /// What has not left, oldest first.
    pub fn waiting(&self) -> Result<Vec<Delivery>, StoreError> {
        self.deliveries("next_try_utc_ms IS NOT NULL", [])
    }

    /// How much of what has not left is late at a time.
    pub fn late(&self, now: Time) -> Result<usize, StoreError> {
        let waiting = self.waiting()?;
        let is_late = |waiting: &&Delivery| now - waiting.made.at > LATE_AFTER;
        Ok(waiting.iter().filter(is_late).count())
    }

    /// The mails that were made from a time on, and those that ever told of the findings that are in
    /// question then ([`Store::findings_in_question`]), in order.
    pub fn mails_in_question(&self, from: Time) -> Result<Vec<Delivery>, StoreError> {
        self.in_question("way = 'mail'", from)
    }

    /// The same of what goes to programs.
    pub fn announcements_in_question(&self, from: Time) -> Result<Vec<Delivery>, StoreError> {
        self.in_question("way <> 'mail'", from)
    }

    fn in_question(&self, way: &str, from: Time) -> Result<Vec<Delivery>, StoreError> {
        let which = format!(
            "{way} AND (made_utc_ms >= ?1 OR id IN (
                 SELECT k.delivery FROM delivery_news k JOIN news n ON n.id = k.news
                 WHERE n.finding IN ({IN_QUESTION})))"
        );
        self.deliveries(&which, [from.unix_ms()])
    }

    /// What was new from a time on and was not put into the outbox for a target, in order, with the
    /// findings as they are now.
    pub fn untold(&self, target: &Target, from: Time) -> Result<Vec<(News, Finding)>, StoreError> {
        let sql = "SELECT n.*, f.finding_json FROM news n JOIN finding f ON f.id = n.finding
                   WHERE n.at_utc_ms >= ?1 AND NOT EXISTS (
                       SELECT 1 FROM delivery_news k JOIN delivery d ON d.id = k.delivery
                       WHERE k.news = n.id AND d.way = ?2 AND d.target = ?3)
                   ORDER BY n.id";
        let (way, name) = (target.way().name(), target.name());
        read_news(self.settled()?, sql, params![from.unix_ms(), way, name])
    }

    /// What a delivery tells, in order, with the findings as they are now.
    pub fn told(&self, delivery: i64) -> Result<Vec<(News, Finding)>, StoreError> {
        let sql = "SELECT n.*, f.finding_json FROM delivery_news k
                   JOIN news n ON n.id = k.news JOIN finding f ON f.id = n.finding
                   WHERE k.delivery = ?1 ORDER BY n.id";
        read_news(self.settled()?, sql, [delivery])
    }

    /// Message-ID of the first mail that told a reader of a finding: its thread.
    pub fn thread(&self, reader: &str, finding: &FindingId) -> Result<Option<String>, StoreError> {
        let mut thread = None;
        let sql = "SELECT stable_id FROM delivery
                   WHERE way = 'mail' AND target = ?1 AND id = (
                       SELECT min(d.id) FROM news n JOIN delivery_news k ON k.news = n.id
                       JOIN delivery d ON d.id = k.delivery
                       WHERE n.finding = ?2 AND d.way = 'mail' AND d.target = ?1)";
        each_row(self.settled()?, sql, [reader, finding.as_str()], |row| {
            thread = Some(get(row, "stable_id")?);
            Ok(())
        })?;
        Ok(thread)
    }

    fn deliveries(
        &self,
        which: &str,
        params: impl Params + Clone,
    ) -> Result<Vec<Delivery>, StoreError> {
        let db = self.settled()?;
        let mut news: BTreeMap<i64, Vec<i64>> = BTreeMap::new();
        let of_them = format!(
            "SELECT delivery, news FROM delivery_news
             WHERE delivery IN (SELECT id FROM delivery WHERE {which})"
        );
        each_row(db, &of_them, params.clone(), |row| {
            let of_one = news.entry(get(row, "delivery")?).or_default();
            of_one.push(get(row, "news")?);
            Ok(())
        })?;
        let mut all = Vec::new();
        let sql = format!("SELECT * FROM delivery WHERE {which} ORDER BY id");
        each_row(db, &sql, params, |row| {
            let time = |column| Ok(get::<Option<i64>>(row, column)?.map(Time::from_unix_ms));
            let id = get(row, "id")?;
            all.push(Delivery {
                id,
                made: NewDelivery {
                    target: Target::read(named(row, "way")?, get(row, "target")?),
                    about: About::read(named(row, "about")?, get(row, "period")?)?,
                    stable_id: get(row, "stable_id")?,
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
        Ok(all)
    }
}

fn write(db: &Connection, made: &NewDelivery) -> rusqlite::Result<()> {
    let (way, target) = (made.target.way().name(), made.target.name());
    let (about, period) = (made.about.name(), made.about.period());
    let at = made.at.unix_ms();
    let mut insert = db.prepare_cached(
        "INSERT INTO delivery (way, target, about, period, stable_id, made_utc_ms, next_try_utc_ms)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?6)
         ON CONFLICT (way, target, about, period) WHERE period IS NOT NULL DO NOTHING",
    )?;
    if insert.execute(params![way, target, about, period, made.stable_id, at])? == 0 {
        return Ok(());
    }
    let id = db.last_insert_rowid();
    let mut tell =
        db.prepare_cached("INSERT INTO delivery_news (news, delivery) VALUES (?1, ?2)")?;
    for news in &made.news {
        tell.execute([*news, id])?;
    }
    Ok(())
}
