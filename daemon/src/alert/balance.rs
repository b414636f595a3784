//! What a period gave and where the rest went, for a summary.
//! Never in here: what is charged to whom (`analysis::ledger`).

use crate::report::each_slot;
use crate::store::{Store, StoreError};
use analysis::diagnose::Finding;
use analysis::ledger::{Entry, Hours};
use analysis::plant::Plant;
use analysis::reading::Time;
use analysis::review::Balance;

/// The balance of the site over the slots that begin in `[from, to)`.
///
/// # Errors
/// If the store cannot be read.
pub fn balance(
    plant: &Plant,
    store: &Store,
    findings: &[Finding],
    (from, to): (Time, Time),
) -> Result<Balance, StoreError> {
    let mut balance = Balance::zero();
    let mut add = |entries: Vec<Entry>| entries.iter().for_each(|entry| balance.add(entry));
    let mut hours = Hours::new(plant, findings);
    each_slot(store, (from, to), |slot| {
        add(hours.add(slot));
        Ok::<_, StoreError>(())
    })?;
    add(hours.finish());
    Ok(balance)
}
