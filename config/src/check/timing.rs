//! How the engine keeps time, from how often devices are read.

use crate::checked::Source;
use analysis::plant::Timing;
use analysis::reading::Span;

/// A slot holds several rows of the usual one-minute recordings and thirty ten-second reads, and is
/// short beside how fast the sun moves (common practice of monitoring: five minutes).
pub(super) const SLOT: Span = Span::from_min(5);
/// One read may fail and the next still counts.
const LATE_READS: i64 = 2;
/// Never less than this: time that a slow device and a busy bus may take.
const LEAST_LATENESS: Span = Span::from_s(10);
/// A passing cloud edge changes irradiance by a tenth in a few seconds (common practice).
const LIVE_SYNC: Span = Span::from_s(2);

/// Of the live sources where every device has one; else what a replay starts from.
pub(super) fn timing(sources: &[Source], devices: usize) -> Timing {
    if sources.len() == devices {
        live(sources)
    } else {
        replay(SLOT)
    }
}

fn live(sources: &[Source]) -> Timing {
    let slowest = sources.iter().map(|source| source.every).max();
    let slowest = slowest.unwrap_or(Span::ZERO);
    Timing {
        slot: SLOT.max(slowest),
        allowed_lateness: LEAST_LATENESS.max(slowest * LATE_READS),
        sync: LIVE_SYNC,
    }
}

/// Rows come in order and whole: nothing is late, and stamps of one row differ by clocks only.
pub(crate) fn replay(interval: Span) -> Timing {
    Timing {
        slot: SLOT.max(interval),
        allowed_lateness: Span::ZERO,
        sync: Span::from_ms(interval.ms() / 10),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_coarse_recording_makes_the_slot_longer_and_a_fine_one_does_not() {
        let minute = replay(Span::from_min(1));
        assert_eq!((minute.slot, minute.sync), (SLOT, Span::from_s(6)));
        let quarter = replay(Span::from_min(15));
        assert_eq!(
            (quarter.slot, quarter.sync),
            (Span::from_min(15), Span::from_s(90))
        );
    }
}
