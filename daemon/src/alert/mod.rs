//! Telling people and programs: who is told, when, and what.
//!
//! The store keeps what is new and everything that is to leave, by mail, by HTTP or to a broker; it is
//! written when it leaves, from what is known then. Never in here: what is wrong with a plant.

mod announcement;
mod announcer;
mod balance;
mod compose;
mod courier;
mod groups;
mod letter;
mod links;
mod pack;
mod past;
mod picture;
mod places;
mod policy;
mod post;
mod sender;
mod smtp;
mod standing;
mod to_reader;
mod webhook;

pub use announcement::trial;
pub use announcer::{AnnounceError, Announcer, trial as announce_trial};
pub use compose::{ComposeError, Composed, Composer};
pub use courier::{CarryError, Courier};
pub use links::Links;
pub use post::{Post, ToPost};
pub use sender::{AtStore, Sender};
pub use smtp::{PATIENCE, Postman, SendError, greet, send};
pub use webhook::{CallError, Caller, call};
