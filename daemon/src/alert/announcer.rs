//! Tells the broker: what is new, as it happens; what is known of each finding, kept for whoever comes
//! later; and whether we are there.
//!
//! One connection that is kept for years; it is made anew after every failure, after longer each time.
//! What is published has left only when the broker has acknowledged it. With each
//! connection the state of all findings is published again: a broker may have forgotten it.
//! Never in here: which topics there are (`mqtt`), or what is in the outbox.

use super::announcement::{self, Announcement};
use super::sender::AtStore;
use super::standing::Standing;
use crate::clock::{Clock, monotonic};
use crate::mqtt::{ANSWER_WITHIN, Client, Events, Message, Packet, Prefix, open, silent};
use crate::source::Waits;
use analysis::plant::Site;
use analysis::reading::{Span, Time};
use config::checked;
use std::time::Duration;
use thiserror::Error;
use tokio::sync::{mpsc, oneshot};
use tokio::task::JoinSet;
use tokio::time::{Instant, sleep_until, timeout};
use tracing::{info, warn};

/// Messages that are on the way together; a connection with all findings of years takes no minutes.
const TOGETHER: usize = 32;
/// From one look for findings whose line has changed, or is to be cleared, to the next: by the clock by
/// which they are over.
const LOOK_EVERY: Span = Span::from_h(1);
/// However fast a rehearsal is, there is so long between two looks.
const LEAST_PAUSE: Duration = Duration::from_secs(1);
const ONLINE: &str = "online";

/// Why the broker was not told. Messages read after "failed to".
#[derive(Debug, Error)]
#[error("tell the broker {broker}: {why}")]
pub struct AnnounceError {
    /// Which.
    pub broker: String,
    /// Why.
    pub why: String,
}

impl AnnounceError {
    fn at(told: &checked::Announcer, why: String) -> Self {
        Self {
            broker: told.broker.address.to_string(),
            why,
        }
    }
}

/// Messages that leave together, and who waits for that.
struct Wish {
    messages: Vec<Message>,
    done: oneshot::Sender<Result<(), String>>,
}

/// Tells the broker of a site.
#[derive(Debug)]
pub struct Announcer {
    told: checked::Announcer,
    wishes: Option<mpsc::Sender<Wish>>,
    /// Keeps the connection; ends with this.
    connection: JoinSet<()>,
}

impl Announcer {
    /// It tells nothing before it is started.
    pub fn new(told: checked::Announcer) -> Self {
        Self {
            told,
            wishes: None,
            connection: JoinSet::new(),
        }
    }

    /// Connects, and stays so.
    pub fn start(&mut self, at_store: AtStore, clock: Clock) {
        let (wishes, queue) = mpsc::channel(1);
        let line = Line {
            standing: Standing::new(&self.told, at_store),
            told: self.told.clone(),
            clock,
            lost: None,
        };
        self.connection.spawn(line.keep(queue));
        self.wishes = Some(wishes);
    }

    /// Tells what is new, and what is known of the finding.
    ///
    /// # Errors
    /// If the broker has not acknowledged it.
    pub async fn carry(&self, told: Announcement) -> Result<(), AnnounceError> {
        let prefix = Prefix::of(&self.told);
        let state = Message {
            topic: prefix.finding(&told.finding),
            payload: told.line,
            is_retained: true,
        };
        let event = Message {
            topic: prefix.events(),
            payload: told.body,
            is_retained: false,
        };
        // Whoever hears of something new finds its state there.
        self.publish(vec![state, event]).await
    }

    async fn publish(&self, messages: Vec<Message>) -> Result<(), AnnounceError> {
        let error = |why| AnnounceError::at(&self.told, why);
        let (done, answer) = oneshot::channel();
        let gone = || error("nobody keeps a connection".to_owned());
        let wishes = self.wishes.as_ref().ok_or_else(gone)?;
        let wish = Wish { messages, done };
        wishes.send(wish).await.map_err(|_| gone())?;
        answer.await.map_err(|_| gone())?.map_err(error)
    }
}

/// Publishes an event that says only that events arrive.
///
/// # Errors
/// If the broker is not reached or does not acknowledge it.
pub async fn trial(told: &checked::Announcer, site: &Site, now: Time) -> Result<(), AnnounceError> {
    let error = |why| AnnounceError::at(told, why);
    let (client, mut events) =
        open(&told.broker, 2, None).map_err(|reason| error(reason.to_string()))?;
    events.wait_for(is_accepted).await.map_err(error)?;
    let event = Message {
        topic: Prefix::of(told).events(),
        payload: announcement::trial(now, site),
        is_retained: false,
    };
    client.publish(&event).await.map_err(error)?;
    events.wait_for(is_acknowledged).await.map_err(error)
}

/// The connection to the broker over the years.
struct Line {
    told: checked::Announcer,
    standing: Standing,
    clock: Clock,
    /// What was said last of the connection, so that it is said once.
    lost: Option<String>,
}

impl Line {
    async fn keep(mut self, mut wishes: mpsc::Receiver<Wish>) {
        let mut waits = Waits::new();
        loop {
            let status = Prefix::of(&self.told).status();
            let lost = match open(&self.told.broker, TOGETHER, Some(&status)) {
                Ok(connection) => self.serve(connection, &mut wishes, &mut waits).await,
                Err(error) => Some(error.to_string()),
            };
            let Some(lost) = lost else { return };
            if self.lost.as_ref() != Some(&lost) {
                let broker = &self.told.broker.address;
                warn!(%broker, why = lost, "findings are not published; trying again, longer each time");
                self.lost = Some(lost.clone());
            }
            let again = monotonic() + waits.after_failure();
            loop {
                // Who wants something meanwhile is not kept waiting.
                tokio::select! {
                    () = sleep_until(again) => break,
                    wish = wishes.recv() => match wish {
                        Some(wish) => drop(wish.done.send(Err(lost.clone()))),
                        None => return,
                    },
                }
            }
        }
    }

    /// Publishes until the connection ends, and says why; `None` when nobody wants anything any more.
    async fn serve(
        &mut self,
        (client, mut events): (Client, Events),
        wishes: &mut mpsc::Receiver<Wish>,
        waits: &mut Waits,
    ) -> Option<String> {
        if let Err(lost) = events.wait_for(is_accepted).await {
            return Some(lost);
        }
        let (heard, mut packets) = mpsc::channel(1);
        // What the connection says is read in a task of its own: it answers the broker while nobody
        // wants anything, and what was begun is never dropped half done.
        let mut reader = JoinSet::new();
        reader.spawn(async move {
            loop {
                let packet = events.next().await;
                let is_over = packet.is_err();
                if heard.send(packet).await.is_err() || is_over {
                    return;
                }
            }
        });
        let online = Message {
            topic: Prefix::of(&self.told).status(),
            payload: ONLINE.to_owned(),
            is_retained: true,
        };
        let mut known = vec![online];
        known.extend(self.standing.all(self.clock.now()).await);
        if let Err(lost) = publish(&client, &mut packets, &known).await {
            return Some(lost);
        }
        waits.after_success();
        self.lost = None;
        info!(broker = %self.told.broker.address, below = self.told.prefix, "findings are published");
        let mut look_at = next_look(&self.clock);
        loop {
            let messages = tokio::select! {
                wish = wishes.recv() => {
                    let wish = wish?;
                    let done = publish(&client, &mut packets, &wish.messages).await;
                    let lost = done.as_ref().err().cloned();
                    // Whoever waited may have gone.
                    let _ = wish.done.send(done);
                    match lost {
                        Some(lost) => return Some(lost),
                        None => continue,
                    }
                }
                packet = packets.recv() => match ended(packet) {
                    Some(lost) => return Some(lost),
                    None => continue,
                },
                () = sleep_until(look_at) => self.standing.changed(self.clock.now()).await,
            };
            if let Err(lost) = publish(&client, &mut packets, &messages).await {
                return Some(lost);
            }
            look_at = next_look(&self.clock);
        }
    }
}

fn next_look(clock: &Clock) -> Instant {
    let pause = Duration::from_secs_f64(clock.real_seconds(LOOK_EVERY));
    monotonic() + pause.max(LEAST_PAUSE)
}

type Packets = mpsc::Receiver<Result<Packet, String>>;

/// Publishes in order, a few together, and waits until as many were acknowledged.
async fn publish(
    client: &Client,
    packets: &mut Packets,
    messages: &[Message],
) -> Result<(), String> {
    for together in messages.chunks(TOGETHER) {
        let all = async {
            for message in together {
                client.publish(message).await?;
            }
            let mut open = together.len();
            while open > 0 {
                match packets.recv().await {
                    Some(Ok(Packet::Acknowledged)) => open -= 1,
                    packet => ended(packet).map_or(Ok(()), Err)?,
                }
            }
            Ok::<(), String>(())
        };
        timeout(ANSWER_WITHIN, all).await.map_err(|_| silent())??;
    }
    Ok(())
}

fn ended(packet: Option<Result<Packet, String>>) -> Option<String> {
    match packet {
        Some(Ok(_)) => None,
        Some(Err(lost)) => Some(lost),
        None => Some("the connection has ended".to_owned()),
    }
}

fn is_accepted(packet: &Packet) -> bool {
    matches!(packet, Packet::Accepted)
}

fn is_acknowledged(packet: &Packet) -> bool {
    matches!(packet, Packet::Acknowledged)
}
