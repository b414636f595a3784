//! What several tests need: reference tables, comparison, synthetic plants, the fault campaign, how
//! bands hold, peers, the program itself, the book.

pub mod book;
pub mod broker;
mod browser;
pub mod campaign;
mod certificates;
mod close;
pub mod coverage;
pub mod ensemble;
pub mod fault_proxy;
pub mod fuzz;
pub mod mail_server;
mod peer;
pub mod plant;
mod program;
pub mod receiver;
mod reference;
pub mod soak;
mod sunspec_server;
pub mod told;
mod units_server;
mod wait;

pub use browser::{Answer, Browser};
pub use close::relative;
pub use peer::{judged, python};
pub use program::{COMMANDS, Ended, Program, cpu_s, environment_of_service, noonmark};
pub use reference::{load_reference, reference_folder};
pub use sunspec_server::{Served, SunspecServer};
pub use units_server::{ServedValues, UnitsServer};
pub use wait::{DEADLINE, until};
