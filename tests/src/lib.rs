//! What several tests need: reference tables, comparison, peers.

mod close;
mod reference;

pub use close::relative;
pub use reference::{load_reference, reference_folder};
