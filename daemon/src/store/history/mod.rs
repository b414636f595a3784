//! History on a small disk: single readings become one value for each channel and day, then minutes
//! and hours.
//!
//! | from, after | kept as | how long |
//! |---|---|---|
//! | arrival | rows of `reading` | until the day after theirs is over |
//! | then | a value of `reading_day`, every reading exact; minutes and hours are made with it | `keep_readings_days` |
//! | then | minutes, `minute_day` | `keep_minutes_days` |
//! | then | hours, `hour_day` | for ever |
//!
//! A reading that comes late is counted like any other while the single readings of its day are
//! there. After that nobody can tell a late one from one that came twice: it counts where its minute
//! (after the minutes: its hour) has no reading yet, and elsewhere the audit counts that it came.
//! Never in here: what a value means for the plant.

mod blob;
mod cells;
mod column;
mod day;
mod pack;
mod packed_cells;
mod read;
mod size;
mod sum;
mod thin;

#[cfg(test)]
mod cells_tests;
#[cfg(test)]
mod stopped_tests;
#[cfg(test)]
mod thin_tests;

pub use cells::{Cell, HOUR, Held, MINUTE};
pub use pack::date;
pub use size::Size;
pub use thin::{Keep, Thinned};

pub(super) use cells::{hours, minutes};
pub(super) use read::{day_of_cells, day_of_readings, role_of};
