//! Empties the outbox: at least once, however long a target is away.
//!
//! What was not taken is tried again after a minute, then after twice the time, up to an hour, until it
//! is taken; a target that asks to wait for longer is left alone for so long. Before it is noted that
//! something was taken the program may end; then it goes out again with the same id. Each target has a
//! sender of its own, so that one that is away holds back nobody else.
//! Never in here: what is in the outbox, what stands in it, or how it travels.

use super::courier::{CarryError, Courier};
use super::post::ToPost;
use crate::clock::Clock;
use crate::store::{Delivery, LATE_AFTER, Layout, Outcome, Store, StoreError, Try};
use analysis::plant::Plant;
use analysis::reading::{Span, Time};
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;
use tracing::{error, info, warn};

/// From one look into the outbox to the next while nobody says that there is something new.
const LOOK_EVERY: Duration = Duration::from_secs(30);
/// While the desk has not noted yet what became of a try.
const LOOK_AGAIN: Duration = Duration::from_millis(500);
/// The waits after a try that failed: the first, and the longest.
const FIRST_WAIT: Span = Span::from_min(1);
const LONGEST_WAIT: Span = Span::from_h(1);
/// A target that asks for longer than this is asked again all the same.
const LONGEST_ASKED: Span = Span::from_h(24);

/// Where the outbox is.
#[derive(Debug, Clone)]
pub struct AtStore {
    /// The store's file.
    pub file: PathBuf,
    /// The plant that it is of.
    pub plant: Arc<Plant>,
}

impl AtStore {
    /// Work with the store, and with pictures, off the threads on which others wait.
    ///
    /// # Errors
    /// If the store cannot be opened, or the work fails.
    pub async fn with<T: Send + 'static, E: From<StoreError> + Send + 'static>(
        &self,
        work: impl FnOnce(&Store) -> Result<T, E> + Send + 'static,
    ) -> Result<T, E> {
        let Self { file, plant } = self.clone();
        let work = tokio::task::spawn_blocking(move || {
            // Opened each time: a store that was damaged is set aside, and another takes its place.
            let store = Store::open_to_read(&file, &Layout::of(&plant))?;
            work(&store)
        });
        work.await.expect("what leaves is made without a panic")
    }
}

/// Sends what is in the outbox of one site for one way or target.
#[derive(Debug)]
pub struct Sender {
    courier: Courier,
    at_store: AtStore,
    to_post: ToPost,
    /// Tries that the store may not show yet, by the id at every try: how many there were then.
    tried: BTreeMap<String, u32>,
}

impl Sender {
    /// A sender of what lies in the store's outbox for a courier.
    pub fn new(courier: Courier, at_store: AtStore, to_post: ToPost) -> Self {
        Self {
            courier,
            at_store,
            to_post,
            tried: BTreeMap::new(),
        }
    }

    /// Sends until it is dropped, or until nobody notes any more what became of it.
    pub async fn run(mut self, clock: Clock) {
        self.courier.start(&self.at_store, clock);
        loop {
            let pause = self.look(clock).await.unwrap_or_else(|error| {
                warn!(%error, "the outbox cannot be read; tried again");
                LOOK_EVERY
            });
            if self.to_post.tries.is_closed() {
                return;
            }
            // Either is a reason to look; which one it was does not matter.
            let _ = tokio::time::timeout(pause, self.to_post.made.changed()).await;
        }
    }

    /// Tries everything that is due. Says how long there is nothing to do.
    async fn look(&mut self, clock: Clock) -> Result<Duration, StoreError> {
        let now = clock.now();
        let mut waiting = self.at_store.with(|store| store.waiting()).await?;
        waiting.retain(|delivery| self.courier.takes(&delivery.made.target));
        self.tried.retain(|id, _| {
            waiting
                .iter()
                .any(|delivery| delivery.made.stable_id == *id)
        });
        let is_noted = |delivery: &Delivery| {
            let tries = self.tried.get(&delivery.made.stable_id);
            tries.is_none_or(|tries| *tries < delivery.tries + 1)
        };
        let is_due = |delivery: &Delivery| {
            is_noted(delivery) && delivery.next_try.is_some_and(|at| is_over(at, now))
        };
        let mut pause = match waiting.iter().all(is_noted) {
            true => LOOK_EVERY,
            false => LOOK_AGAIN,
        };
        let due: Vec<Delivery> = waiting.into_iter().filter(is_due).collect();
        for delivery in due {
            let carried = self
                .courier
                .carry(&self.at_store, &delivery, clock.now())
                .await;
            let at = clock.now();
            let id = delivery.made.stable_id.clone();
            self.tried.insert(id, delivery.tries + 1);
            let outcome = outcome(&delivery, carried, at);
            if let Outcome::Later(_, again) = &outcome {
                let real_s = clock.real_seconds(*again - at);
                pause = pause.min(Duration::from_secs_f64(real_s));
            }
            let tried = Try {
                delivery: delivery.id,
                stable_id: delivery.made.stable_id.clone(),
                at,
                outcome,
            };
            if self.to_post.tries.send(tried).await.is_err() {
                break;
            }
        }
        Ok(pause)
    }
}

fn outcome(delivery: &Delivery, carried: Result<(), CarryError>, at: Time) -> Outcome {
    let (to, id) = (&delivery.made.target, &delivery.made.stable_id);
    match carried {
        Ok(()) => {
            info!(%to, %id, "sent");
            Outcome::Sent
        }
        Err(error) if error.is_final() => {
            warn!(%to, %id, %error, "given up");
            Outcome::GivenUp(error.to_string())
        }
        Err(error) => {
            note_failure(delivery, &error, at);
            let asked = error.asks_to_wait().unwrap_or(FIRST_WAIT);
            let wait = wait(delivery.tries).max(asked.min(LONGEST_ASKED));
            Outcome::Later(error.to_string(), at + wait)
        }
    }
}

/// Whether a wait is over; also one that is longer than any: the clock was set back since it began.
fn is_over(until: Time, now: Time) -> bool {
    until <= now || until - now > LONGEST_ASKED
}

/// How long to wait after a try, when there were so many before it.
fn wait(tries: u32) -> Span {
    let doubled = FIRST_WAIT.ms() << tries.min(10);
    Span::from_ms(doubled.min(LONGEST_WAIT.ms()))
}

/// Said at the first try, and once more each time a person must be told again.
fn note_failure(delivery: &Delivery, error: &CarryError, at: Time) {
    let to = &delivery.made.target;
    let waited = at - delivery.made.at;
    if waited >= LATE_AFTER {
        let waits_h = waited.seconds() / 3600.0;
        error!(%to, waits_h, %error, "not taken for more than a day");
    } else if delivery.tries == 0 {
        warn!(%to, %error, "not sent; tried again, after longer each time");
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_clock_that_was_wrong_by_years_makes_nobody_wait_for_years() {
        let now = Time::from_unix_ms(1_782_129_600_000);
        assert!(is_over(now, now) && !is_over(now + Span::from_ms(1), now));
        assert!(!is_over(now + LONGEST_ASKED, now));
        assert!(is_over(now + Span::from_h(24 * 365), now));
    }

    #[test]
    fn waits_double_up_to_an_hour() {
        let waits: Vec<i64> = (0..8).map(|tries| wait(tries).ms() / 60_000).collect();
        assert_eq!(waits, [1, 2, 4, 8, 16, 32, 60, 60]);
        assert_eq!(wait(u32::MAX), LONGEST_WAIT);
    }
}
