//! Findings told to programs of somebody else's: by HTTP, and through a broker.
//!
//! Kind of truth: reference for the protocols (Python's HTTP server, a verifier of RFC 9421 and RFC 9530,
//! mosquitto and its tools); property for the outbox: what is new arrives, whatever the other side does,
//! and again with the same id where it was not noted that it had.

#[path = "announced/mqtt.rs"]
mod mqtt;
#[path = "announced/program.rs"]
mod program;
#[path = "announced/site.rs"]
mod site;
#[path = "announced/webhook.rs"]
mod webhook;
