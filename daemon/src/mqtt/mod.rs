//! Connections to MQTT brokers, for who listens and for who tells.
//!
//! What is published stands below the own prefix: a topic of ours is made by [`Prefix`] alone, and nothing
//! else can be published. Held by `tests/read_only.rs`.
//! Never in here: what a message means.

mod connection;
mod own_topic;

pub use connection::{ANSWER_WITHIN, Client, Events, LARGEST, Packet, open, silent};
pub use own_topic::{Message, OwnTopic, Prefix};
