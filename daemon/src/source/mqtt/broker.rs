//! A connection to a broker that is kept for years: subscribes, passes messages on, tries again.
//!
//! After every failure passwords, certificates and keys are read anew, so that what was renewed counts.
//! Messages wait in a bounded queue; when it is full nothing is read from the connection until there is
//! room, and the broker keeps or drops what comes meanwhile by its own settings.
//! Never in here: what a message means, or publishing.

use crate::mqtt::{ANSWER_WITHIN, Client, Events, Packet, open, silent};
use crate::source::Waits;
use config::checked::Broker;
use tokio::sync::mpsc;
use tokio::time::{sleep, timeout};

/// Messages that may wait.
pub(super) const QUEUE: usize = 1024;

/// What comes of a connection.
#[derive(Debug)]
pub(super) enum Notice {
    /// It stands, and topics are subscribed to.
    Connected,
    /// It does not stand; what was said.
    Lost(String),
    /// A message.
    Message {
        topic: String,
        bytes: Vec<u8>,
        /// Kept by the broker from earlier.
        is_retained: bool,
    },
}

/// Keeps the connection until nobody listens any more.
pub(super) async fn keep(broker: Broker, topics: Vec<String>, listener: mpsc::Sender<Notice>) {
    let mut waits = Waits::new();
    while !listener.is_closed() {
        // Room for the subscriptions, which wait until the connection takes them.
        let lost = match open(&broker, topics.len() + 1, None) {
            Ok(connection) => listen(connection, &topics, &listener, &mut waits).await,
            Err(error) => error.to_string(),
        };
        if listener.send(Notice::Lost(lost)).await.is_err() {
            return;
        }
        sleep(waits.after_failure()).await;
    }
}

/// Connects to a broker as for its devices, and to nothing in it. The error says why it does not let us
/// in.
pub async fn greet(broker: &Broker) -> Result<(), String> {
    let (_client, mut events) = open(broker, 1, None).map_err(|error| error.to_string())?;
    events
        .wait_for(|packet| matches!(packet, Packet::Accepted))
        .await
}

/// Passes on what comes; says why it has ended.
async fn listen(
    (client, mut events): (Client, Events),
    topics: &[String],
    listener: &mpsc::Sender<Notice>,
    waits: &mut Waits,
) -> String {
    let first = match timeout(ANSWER_WITHIN, events.next()).await {
        Ok(first) => first,
        Err(_) => return silent(),
    };
    let mut packet = first;
    loop {
        let notice = match packet {
            Err(lost) => return lost,
            Ok(Packet::Accepted) => {
                waits.after_success();
                if let Err(lost) = client.subscribe(topics).await {
                    return lost;
                }
                Some(Notice::Connected)
            }
            Ok(Packet::Message {
                topic,
                bytes,
                is_retained,
            }) => Some(Notice::Message {
                topic,
                bytes,
                is_retained,
            }),
            Ok(Packet::Acknowledged | Packet::Other) => None,
        };
        if let Some(notice) = notice
            && listener.send(notice).await.is_err()
        {
            return "nobody listens".to_owned();
        }
        packet = events.next().await;
    }
}
