//! What several tests need: reference tables, comparison, a synthetic plant, peers.

mod close;
pub mod plant;
mod reference;

pub use close::relative;
pub use reference::{load_reference, reference_folder};
