//! From when on slots have been written, for whoever keeps what was made of them.
//!
//! Slots come in order of time, so what was made of past days holds; where the clock was set back they are
//! written again, and it does not.
//! Never in here: the slots.

use analysis::reading::Time;
use std::sync::atomic::{AtomicI64, Ordering};

/// The earliest slot that was written since somebody last asked.
#[derive(Debug)]
pub struct Written(AtomicI64);

const NOTHING: i64 = i64::MAX;

impl Default for Written {
    fn default() -> Self {
        Self(AtomicI64::new(NOTHING))
    }
}

impl Written {
    /// Slots from this time on are in the store. Said after they are.
    pub fn tell(&self, from: Time) {
        self.0.fetch_min(from.unix_ms(), Ordering::AcqRel);
    }

    /// From when on, since it was asked last.
    pub fn ask(&self) -> Option<Time> {
        let from = self.0.swap(NOTHING, Ordering::AcqRel);
        (from != NOTHING).then(|| Time::from_unix_ms(from))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_earliest_is_told_once() {
        let written = Written::default();
        assert_eq!(written.ask(), None);
        for ms in [500, 300, 400] {
            written.tell(Time::from_unix_ms(ms));
        }
        assert_eq!(written.ask(), Some(Time::from_unix_ms(300)));
        assert_eq!(written.ask(), None);
    }
}
