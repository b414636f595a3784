//! One connection to a broker: opened, read, subscribed with, published on.
//!
//! Passwords, certificates and keys are read when it is opened and kept nowhere.
//! Never in here: trying again, or what a message means.

use super::{Message, OwnTopic};
use crate::text::with_reasons;
use crate::{secret, tls};
use config::checked::Broker;
use rumqttc::v5;
use rumqttc::{TlsConfiguration, Transport};
use std::error::Error;
use std::time::Duration;
use tokio::time::timeout;

/// Largest message [bytes]: a birth of hundreds of metrics takes some ten thousand.
pub const LARGEST: u32 = 256 * 1024;
/// A connection without any message is asked whether it still stands (common practice).
const KEEP_ALIVE: Duration = Duration::from_secs(30);
/// Longest time until a broker has answered.
pub const ANSWER_WITHIN: Duration = Duration::from_secs(15);
/// What the broker says in our place when we are gone.
const OFFLINE: &str = "offline";

/// What is looked at of what a broker sends.
#[derive(Debug)]
pub enum Packet {
    /// The connection stands.
    Accepted,
    /// What we have published was taken.
    Acknowledged,
    /// Somebody has published.
    Message {
        /// Where.
        topic: String,
        /// What.
        bytes: Vec<u8>,
        /// Kept by the broker from earlier.
        is_retained: bool,
    },
    /// Anything else.
    Other,
}

/// The side that asks.
#[derive(Debug)]
pub enum Client {
    /// MQTT 3.1.1.
    V3(rumqttc::AsyncClient),
    /// MQTT 5.
    V5(v5::AsyncClient),
}

/// The side that hears.
pub enum Events {
    /// MQTT 3.1.1.
    V3(Box<rumqttc::EventLoop>),
    /// MQTT 5.
    V5(Box<v5::EventLoop>),
}

/// A connection that is made with the first look at its events. `room` for what is asked in one go; the
/// broker says "offline" on `status` when the connection has ended, whatever has ended it.
///
/// # Errors
/// If the password, a certificate or a key cannot be read.
pub fn open(
    broker: &Broker,
    room: usize,
    status: Option<&OwnTopic>,
) -> std::io::Result<(Client, Events)> {
    let name = format!("noonmark-{:012x}", fastrand::u64(..) >> 16);
    let (host, port) = (broker.address.host.as_str(), broker.address.port);
    let password = broker.password.as_ref().map(secret::read).transpose()?;
    let login = broker.user.clone().zip(Some(password.unwrap_or_default()));
    let encrypted = broker.tls.as_ref().map(tls::settings).transpose()?;
    let transport =
        encrypted.map(|settings| Transport::tls_with_config(TlsConfiguration::Rustls(settings)));
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
        if let Some(topic) = status {
            let qos = v5::mqttbytes::QoS::AtLeastOnce;
            let will = v5::mqttbytes::v5::LastWill::new(topic.as_str(), OFFLINE, qos, true, None);
            options.set_last_will(will);
        }
        let (client, events) = v5::AsyncClient::new(options, room);
        return Ok((Client::V5(client), Events::V5(Box::new(events))));
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
    if let Some(topic) = status {
        let qos = rumqttc::QoS::AtLeastOnce;
        options.set_last_will(rumqttc::LastWill::new(topic.as_str(), OFFLINE, qos, true));
    }
    let (client, events) = rumqttc::AsyncClient::new(options, room);
    Ok((Client::V3(client), Events::V3(Box::new(events))))
}

impl Client {
    /// Asks for topics, each at least once: what comes twice is one reading.
    pub async fn subscribe(&self, topics: &[String]) -> Result<(), String> {
        for topic in topics {
            let asked = match self {
                Self::V3(client) => client
                    .subscribe(topic, rumqttc::QoS::AtLeastOnce)
                    .await
                    .map_err(|error| with_reasons(&error)),
                Self::V5(client) => client
                    .subscribe(topic, v5::mqttbytes::QoS::AtLeastOnce)
                    .await
                    .map_err(|error| with_reasons(&error)),
            };
            asked?;
        }
        Ok(())
    }

    /// Hands over a message, at least once; [`Packet::Acknowledged`] says that it was taken.
    pub async fn publish(&self, message: &Message) -> Result<(), String> {
        let (topic, payload) = (message.topic.as_str(), message.payload.clone());
        let keep = message.is_retained;
        match self {
            Self::V3(client) => client
                .publish(topic, rumqttc::QoS::AtLeastOnce, keep, payload)
                .await
                .map_err(|error| with_reasons(&error)),
            Self::V5(client) => client
                .publish(topic, v5::mqttbytes::QoS::AtLeastOnce, keep, payload)
                .await
                .map_err(|error| with_reasons(&error)),
        }
    }
}

impl Events {
    /// Waits until the connection stands, or what we have published was taken; says why it was not.
    pub async fn wait_for(&mut self, wanted: fn(&Packet) -> bool) -> Result<(), String> {
        let answer = async {
            while !wanted(&self.next().await?) {}
            Ok(())
        };
        timeout(ANSWER_WITHIN, answer).await.map_err(|_| silent())?
    }

    /// The next packet, or why the connection has ended.
    pub async fn next(&mut self) -> Result<Packet, String> {
        match self {
            Self::V3(events) => match events.poll().await {
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::ConnAck(_))) => Ok(Packet::Accepted),
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::PubAck(_))) => {
                    Ok(Packet::Acknowledged)
                }
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::SubAck(ack))) => {
                    let refused = ack
                        .return_codes
                        .iter()
                        .any(|code| matches!(code, rumqttc::SubscribeReasonCode::Failure));
                    subscribed(refused)
                }
                Ok(rumqttc::Event::Incoming(rumqttc::Packet::Publish(message))) => {
                    Ok(Packet::Message {
                        topic: message.topic,
                        bytes: message.payload.to_vec(),
                        is_retained: message.retain,
                    })
                }
                Ok(_) => Ok(Packet::Other),
                Err(rumqttc::ConnectionError::ConnectionRefused(code)) => Err(refused(&code)),
                Err(error) => Err(lost(&error)),
            },
            Self::V5(events) => match events.poll().await {
                Ok(v5::Event::Incoming(v5::Incoming::ConnAck(_))) => Ok(Packet::Accepted),
                Ok(v5::Event::Incoming(v5::Incoming::PubAck(ack))) => taken(ack.reason),
                Ok(v5::Event::Incoming(v5::Incoming::SubAck(ack))) => {
                    let refused = ack.return_codes.iter().any(|code| {
                        !matches!(code, v5::mqttbytes::v5::SubscribeReasonCode::Success(_))
                    });
                    subscribed(refused)
                }
                Ok(v5::Event::Incoming(v5::Incoming::Publish(message))) => Ok(Packet::Message {
                    topic: String::from_utf8_lossy(&message.topic).into_owned(),
                    bytes: message.payload.to_vec(),
                    is_retained: message.retain,
                }),
                Ok(_) => Ok(Packet::Other),
                Err(v5::ConnectionError::ConnectionRefused(code)) => Err(refused(&code)),
                Err(error) => Err(lost(&error)),
            },
        }
    }
}

/// That a broker has not answered in its time.
pub fn silent() -> String {
    format!("no answer within {} s", ANSWER_WITHIN.as_secs())
}

/// Nobody listening is no fault of the message.
fn taken(reason: v5::mqttbytes::v5::PubAckReason) -> Result<Packet, String> {
    use v5::mqttbytes::v5::PubAckReason::{NoMatchingSubscribers, Success};
    match reason {
        Success | NoMatchingSubscribers => Ok(Packet::Acknowledged),
        other => Err(format!("the broker refuses what is published ({other:?})")),
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

/// Why there is no connection, or none any more.
fn lost(error: &(dyn Error + 'static)) -> String {
    let reasons = with_reasons(error);
    match tls::refusal(error) {
        Some(words) => format!("{words} ({reasons})"),
        None => reasons,
    }
}

/// With the word of the standard behind it.
fn refused(code: &dyn std::fmt::Debug) -> String {
    format!("the broker refuses user name, password or client ({code:?})")
}
