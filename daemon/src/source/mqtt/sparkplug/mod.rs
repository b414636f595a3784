//! The open payload Sparkplug B: births, data by alias, deaths, sequence numbers.
//!
//! Model:   a birth names every metric and may give it an alias; data name a metric or its alias; a death
//!          says that nothing is known until the next birth. Messages of a node are numbered from 0 to
//!          255 and on from 0.
//! Range:   bytes of any content.
//! Source:  Eclipse Sparkplug Specification 3.0.0, chapters 4 to 6, and its payload definition
//!          (field numbers and types).
//! Check:   node_tests.rs; tests/acceptance/mqtt/sparkplug.rs, with the published definition written apart
//!          from this one.
//!
//! Never in here: a connection, or the command by which a birth is asked for.

mod message;
mod node;
#[cfg(test)]
mod node_tests;
mod topic;

pub(super) use message::Number;
pub use node::EdgeNode;
pub(super) use node::{Event, Oddity, Told};
pub use topic::Verb;
pub(super) use topic::{NAMESPACE, Topic};
