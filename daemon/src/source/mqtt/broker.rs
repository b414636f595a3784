//! A connection to a broker that is kept for years: subscribes, passes messages on, tries again.
//!
//! After every failure passwords, certificates and keys are read anew, so that what was renewed counts.
//! Messages wait in a bounded queue; when it is full nothing is read from the connection until there is
//! room, and the broker keeps or drops what comes meanwhile by its own settings.
//! Never in here: what a message means, or publishing.

use super::tls;
use crate::secret;
use crate::source::Waits;
use config::checked::Broker;
use rumqttc::v5;
use rumqttc::{TlsConfiguration, Transport};
use std::error::Error;
use std::time::Duration;
use tokio::sync::mpsc;
use tokio::time::{sleep, timeout};

/// Messages that may wait.
pub(super) const QUEUE: usize = 1024;
/// Largest message [bytes]: a birth of hundreds of metrics takes some ten thousand.
const LARGEST: u32 = 256 * 1024;
/// A connection without any message is asked whether it still stands (common practice).
const KEEP_ALIVE: Duration = Duration::from_secs(30);
/// Longest time to connect.
const CONNECT_WITHIN: Duration = Duration::from_secs(15);

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

/// What is looked at of a packet.
enum Packet {
    Accepted,
    Message(Notice),
    Other,
}

enum Connection {
    V3(rumqttc::AsyncClient, Box<rumqttc::EventLoop>),
    V5(v5::AsyncClient, Box<v5::EventLoop>),
}

/// Keeps the connection until nobody listens any more.
pub(super) async fn keep(broker: Broker, topics: Vec<String>, listener: mpsc::Sender<Notice>) {
    let mut waits = Waits::new();
    while !listener.is_closed() {
        let lost = match Connection::new(&broker, topics.len()) {
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
    let mut connection = Connection::new(broker, 0).map_err(|error| said(&error))?;
    let accepted = async {
        while !matches!(connection.next().await?, Packet::Accepted) {}
        Ok(())
    };
    let accepted = timeout(CONNECT_WITHIN, accepted).await;
    accepted.unwrap_or_else(|_| Err(silent()))
}

fn silent() -> String {
    format!("no answer within {} s", CONNECT_WITHIN.as_secs())
}

/// Passes on what comes; says why it has ended.
async fn listen(
    mut connection: Connection,
    topics: &[String],
    listener: &mpsc::Sender<Notice>,
    waits: &mut Waits,
) -> String {
    let first = match timeout(CONNECT_WITHIN, connection.next()).await {
        Ok(first) => first,
        Err(_) => return silent(),
    };
    let mut packet = first;
    loop {
        let notice = match packet {
            Err(lost) => return lost,
            Ok(Packet::Accepted) => {
                waits.after_success();
                if let Err(lost) = connection.subscribe(topics).await {
                    return lost;
                }
                Some(Notice::Connected)
            }
            Ok(Packet::Message(notice)) => Some(notice),
            Ok(Packet::Other) => None,
        };
        if let Some(notice) = notice
            && listener.send(notice).await.is_err()
        {
            return "nobody listens".to_owned();
        }
        packet = connection.next().await;
    }
}

impl Connection {
    fn new(broker: &Broker, topics: usize) -> std::io::Result<Self> {
        let name = format!("noonmark-{:012x}", fastrand::u64(..) >> 16);
        let (host, port) = (broker.address.host.as_str(), broker.address.port);
        let password = broker.password.as_ref().map(secret::read).transpose()?;
        let login = broker.user.clone().zip(Some(password.unwrap_or_default()));
        let encrypted = broker.tls.as_ref().map(tls::settings).transpose()?;
        let transport = encrypted
            .map(|settings| Transport::tls_with_config(TlsConfiguration::Rustls(settings)));
        // Room for the subscriptions, which wait until the connection takes them.
        let room = topics + 1;
        if broker.is_version_5 {
            let mut options = v5::MqttOptions::new(name, host, port);
            options.set_keep_alive(KEEP_ALIVE);
            options.set_max_packet_size(Some(LARGEST));
            if let Some((user, password)) = login {
                options.set_credentials(user, password);
            }
            if let Some(transport) = transport {
                options.set_transport(transport);
            }
            let (client, events) = v5::AsyncClient::new(options, room);
            return Ok(Self::V5(client, Box::new(events)));
        }
        let mut options = rumqttc::MqttOptions::new(name, host, port);
        options.set_keep_alive(KEEP_ALIVE);
        options.set_max_packet_size(LARGEST as usize, LARGEST as usize);
        if let Some((user, password)) = login {
            options.set_credentials(user, password);
        }
        if let Some(transport) = transport {
            options.set_transport(transport);
        }
        let (client, events) = rumqttc::AsyncClient::new(options, room);
        Ok(Self::V3(client, Box::new(events)))
    }

    async fn subscribe(&mut self, topics: &[String]) -> Result<(), String> {
        for topic in topics {
            // At least once: what comes twice is one reading.
            let asked = match self {
                Self::V3(client, _) => client
                    .subscribe(topic, rumqttc::QoS::AtLeastOnce)
                    .await
                    .map_err(|error| said(&error)),
                Self::V5(client, _) => client
                    .subscribe(topic, v5::mqttbytes::QoS::AtLeastOnce)
                    .await
                    .map_err(|error| said(&error)),
            };
            asked?;
        }
        Ok(())
    }

    async fn next(&mut self) -> Result<Packet, String> {
        match self {
            Self::V3(_, events) => match events.poll().await {
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::ConnAck(_))) => Ok(Packet::Accepted),
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::SubAck(ack))) => {
                    let refused = ack
                        .return_codes
                        .iter()
                        .any(|code| matches!(code, rumqttc::SubscribeReasonCode::Failure));
                    subscribed(refused)
                }
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::Publish(message))) => {
                    Ok(Packet::Message(Notice::Message {
                        topic: message.topic,
                        bytes: message.payload.to_vec(),
                        is_retained: message.retain,
                    }))
                }
                Ok(_) => Ok(Packet::Other),
                Err(rumqttc::ConnectionError::ConnectionRefused(code)) => Err(refused(&code)),
                Err(error) => Err(said(&error)),
            },
            Self::V5(_, events) => match events.poll().await {
                Ok(v5::Event::Incoming(v5::Incoming::ConnAck(_))) => Ok(Packet::Accepted),
                Ok(v5::Event::Incoming(v5::Incoming::SubAck(ack))) => {
                    let refused = ack.return_codes.iter().any(|code| {
                        !matches!(code, v5::mqttbytes::v5::SubscribeReasonCode::Success(_))
                    });
                    subscribed(refused)
                }
                Ok(v5::Event::Incoming(v5::Incoming::Publish(message))) => {
                    Ok(Packet::Message(Notice::Message {
                        topic: String::from_utf8_lossy(&message.topic).into_owned(),
                        bytes: message.payload.to_vec(),
                        is_retained: message.retain,
                    }))
                }
                Ok(_) => Ok(Packet::Other),
                Err(v5::ConnectionError::ConnectionRefused(code)) => Err(refused(&code)),
                Err(error) => Err(said(&error)),
            },
        }
    }
}

fn subscribed(refused: bool) -> Result<Packet, String> {
    match refused {
        true => {
            Err("the broker refuses a subscription: this user may not read the topic".to_owned())
        }
        false => Ok(Packet::Other),
    }
}

/// With the word of the standard behind it.
fn refused(code: &dyn std::fmt::Debug) -> String {
    format!("the broker refuses user name, password or client ({code:?})")
}

/// An error with what is behind it, each said once.
fn said(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut cause = error.source();
    while let Some(error) = cause {
        let more = error.to_string();
        if !text.contains(&more) {
            text = format!("{text}: {more}");
        }
        cause = error.source();
    }
    text
}
