//! From suspicions to findings: causes compared, advice and cautions added, each kept in a book.
//!
//! [`hypotheses`] says what a window of samples most likely means, [`Book`] keeps what stands.
//! Never in here: thresholds on single values (`detect`), or how a finding is sent.

mod advice;
mod book;
pub mod explain;
pub mod explain_supply;
mod finding;
pub mod hypotheses;
mod measured;
mod protection_advice;
pub mod voltage_loss;
pub mod wiring;
mod words;

pub use advice::{advice, caution};
pub use book::{Book, NewFinding, Urgency};
pub use explain::count;
pub use finding::{Cause, Evidence, Finding, FindingId, Subject};
pub use protection_advice::{protection_advice, protection_caution};
