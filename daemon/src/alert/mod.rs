//! Telling people: who gets a mail, when, and what stands in it.
//!
//! The store keeps what is new and every mail that was made; a mail is written when it leaves, from
//! what is known then. Never in here: what is wrong with a plant.

mod balance;
mod compose;
mod groups;
mod letter;
mod links;
mod pack;
mod policy;
mod post;
mod sender;
mod to_reader;

pub use compose::{ComposeError, Composed, Composer};
pub use links::Links;
pub use post::{Post, ToPost};
pub use sender::{PATIENCE, SendError, Sender, TOO_LONG, greet, send};
