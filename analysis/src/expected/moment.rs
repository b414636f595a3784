//! One slot as the weather ladder sees it, and the part of it in which the sun is up.
//!
//! Model:   a mean over a slot is evaluated at its middle; where the sun rises or sets inside, at
//!          the middle of the part with sun, whose mean is the slot's mean over the part's share.
//! Symbols: shares dimensionless.
//! Range:   slots up to an hour; a sun that rises and sets inside one is taken at the slot's middle.
//! Source:  common practice.
//! Check:   tests below.

use crate::reading::{ChannelId, SlotMeans, Span, Stat, Time};
use crate::sky::SunTrack;
use std::collections::BTreeSet;

/// The sun moves no faster than this in elevation [deg/h].
const FASTEST_DEG_PER_H: f64 = 15.1;
/// Sensor and array do not see the same patch of sky: a share of the scatter always remains.
const MIN_SYNC_SHARE: f64 = 0.1;
/// Refraction, and what a slot's middle leaves open [deg].
const NEAR_HORIZON_DEG: f64 = 1.0;
/// Halvings of the slot in which the sun crosses the horizon: to a thousandth of it.
const HALVINGS: u32 = 10;

/// One slot as the ladder sees it.
#[derive(Debug, Clone, Copy)]
pub struct Moment<'a> {
    /// How long the slot is.
    pub slot: Span,
    /// Its means.
    pub means: &'a SlotMeans,
    /// The means of the slot before, to see how fast the light changes.
    pub before: &'a SlotMeans,
    /// How far stamps may disagree, over the length of the slot [-].
    pub sync_ratio: f64,
    /// Channels that the rest of the plant contradicts, in this slot or day after day.
    pub distrusted: &'a BTreeSet<ChannelId>,
}

impl<'a> Moment<'a> {
    /// The means of the first of some channels that has any and is trusted.
    pub(super) fn first(&self, channels: &[ChannelId]) -> Option<&'a Stat> {
        let trusted = channels.iter().filter(|id| !self.distrusted.contains(id));
        trusted.into_iter().find_map(|id| self.means.get(*id))
    }

    /// How far stamps that disagree may be off in light that changes as this channel does [-]: from
    /// the scatter inside the slot, or from the step since the slot before where there is one value
    /// only.
    pub fn unsteady_ratio(&self, id: ChannelId) -> f64 {
        let Some(now) = self.means.get(id) else {
            return 0.0;
        };
        let change = match self.before.get(id) {
            _ if now.count > 2 => now.std(),
            Some(then) => (now.mean - then.mean).abs(),
            None => 0.0,
        };
        self.sync_ratio.max(MIN_SYNC_SHARE) * change / now.mean.max(1.0)
    }
}

/// The part of a slot with the sun up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct LitPart {
    /// Its middle, or that of the slot where the sun is up throughout or not at all.
    pub middle: Time,
    /// Its length over that of the slot [-]; 1 where the sun is not up at all, too.
    pub share: f64,
}

impl LitPart {
    /// Of a slot that begins at `start`.
    pub fn of(track: &mut SunTrack, start: Time, slot: Span) -> Self {
        let whole = Self {
            middle: start + slot.half(),
            share: 1.0,
        };
        let elevation_deg = track.position(whole.middle).apparent_elevation_deg();
        if elevation_deg.abs() > FASTEST_DEG_PER_H * slot.half().hours() + NEAR_HORIZON_DEG {
            return whole;
        }
        let end = start + slot;
        let mut is_up = |at: Time| track.position(at).is_up();
        let (rises, sets) = (!is_up(start) && is_up(end), is_up(start) && !is_up(end));
        if !rises && !sets {
            return whole;
        }
        let (mut low, mut high) = (start, end);
        for _ in 0..HALVINGS {
            let middle = low + (high - low).half();
            if is_up(middle) == rises {
                high = middle;
            } else {
                low = middle;
            }
        }
        // The wider end of the bracket: the share is never none.
        let (from, to) = if rises { (low, end) } else { (start, high) };
        Self {
            middle: from + (to - from).half(),
            share: (to - from).seconds() / slot.seconds(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Angle;
    use crate::sky::Observer;

    fn track() -> SunTrack {
        let zero = Angle::from_deg(0.0);
        SunTrack::new(Observer::new(zero, zero, 0.0))
    }

    /// On the equator at the equinox of 2026 the sun rises about six in the morning.
    fn parts() -> Vec<LitPart> {
        const MIDNIGHT: Time = Time::from_unix_ms(1_773_964_800_000); // 2026-03-20
        let hour = Span::from_h(1);
        let mut track = track();
        let part = |h: i64| LitPart::of(&mut track, MIDNIGHT + hour * h, hour);
        (0..24).map(part).collect()
    }

    #[test]
    fn a_mean_in_which_the_sun_rises_is_taken_later_and_one_in_which_it_sets_earlier() {
        let parts = parts();
        let cut: Vec<usize> = (0..24).filter(|h| parts[*h].share < 1.0).collect();
        assert_eq!(cut.len(), 2, "{parts:?}");
        let minute = |h: usize| (parts[h].middle.unix_ms() / 60_000) % 60;
        assert!(minute(cut[0]) > 30, "{parts:?}");
        assert!(minute(cut[1]) < 30, "{parts:?}");
    }

    #[test]
    fn sun_all_through_and_not_at_all_leave_the_middle() {
        let parts = parts();
        assert_eq!(parts[0].share, 1.0);
        assert_eq!(parts[12].share, 1.0);
        assert_eq!((parts[12].middle.unix_ms() / 60_000) % 60, 30);
    }

    #[test]
    fn the_lit_parts_of_a_day_on_the_equator_make_twelve_hours_and_a_little() {
        let (mut track, parts) = (track(), parts());
        let mut lit = |part: &LitPart| track.position(part.middle).is_up();
        let hours: f64 = parts.iter().filter(|p| lit(p)).map(|p| p.share).sum();
        // Refraction lifts the sun by half a degree at either end: 4.5 min in all.
        assert!((hours - 12.08).abs() < 0.03, "{hours}");
    }
}
