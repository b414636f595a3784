//! The slots of a period, piece by piece: a year must not be in memory. Of a store in a file the next
//! pieces are read in a second thread while the last ones are worked on.
//! Never in here: what is made of them.

use crate::store::{Store, StoreError};
use analysis::detect::Slot;
use analysis::reading::{Span, Time};
use std::sync::mpsc::sync_channel;

/// Slots are read so many at a time. Whole hours.
pub(super) const READ_AT_A_TIME: Span = Span::from_h(48);
/// Pieces that may wait.
const WAITING: usize = 2;

/// Hands every slot that begins in `[from, to)` to `take`, in order, until that fails.
///
/// # Errors
/// If the store cannot be read; those of `take`.
pub fn each_slot<E: From<StoreError>>(
    store: &Store,
    (from, to): (Time, Time),
    mut take: impl FnMut(&Slot) -> Result<(), E>,
) -> Result<(), E> {
    let mut pieces = Vec::new();
    let mut at = from;
    while at < to {
        let until = to.min(at + READ_AT_A_TIME);
        pieces.push((at, until));
        at = until;
    }
    let Some(beside) = store.beside()? else {
        for (from, to) in pieces {
            store.slots(from, to)?.iter().try_for_each(&mut take)?;
        }
        return Ok(());
    };
    let (give, taken) = sync_channel(WAITING);
    std::thread::scope(|scope| {
        scope.spawn(move || {
            for (from, to) in pieces {
                // Nobody takes them any more once one could not be used.
                if give.send(beside.slots(from, to)).is_err() {
                    return;
                }
            }
        });
        for slots in taken {
            slots?.iter().try_for_each(&mut take)?;
        }
        Ok(())
    })
}
