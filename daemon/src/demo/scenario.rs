//! What happens to the demo's plant, and when. All of it is invented.

use analysis::reading::{Span, Time};

/// Midnight at the plant, 10 November 2026 (UTC+11).
pub const START: Time = Time::from_unix_ms(1_794_229_200_000);
/// Days shown.
pub const DAYS: i64 = 6;
/// Midnight after the last day.
pub const END: Time = Time::from_unix_ms(START.unix_ms() + DAYS * 86_400_000);
/// From one poll to the next.
pub const STEP: Span = Span::from_min(1);

/// The string that opens: index of inverter, input and string.
pub const OPEN_STRING: (usize, usize, usize) = (0, 0, 1);
/// The input that goes dead: index of inverter and input.
pub const DEAD_INPUT: (usize, usize) = (1, 1);
/// The inverter that loses its link, and the one with water in a junction box.
pub const SILENT_INVERTER: usize = 1;
pub const WET_INVERTER: usize = 1;

/// Time of day on a day of the demo.
const fn on(day: i64, hour: i64, minute: i64) -> Time {
    let minutes = ((day - 1) * 24 + hour) * 60 + minute;
    Time::from_unix_ms(START.unix_ms() + minutes * 60_000)
}

/// From one time up to another.
#[derive(Debug, Clone, Copy)]
pub struct Period {
    from: Time,
    to: Time,
}

impl Period {
    const fn new(from: Time, to: Time) -> Self {
        Self { from, to }
    }

    /// Whether it is now.
    pub fn holds(&self, at: Time) -> bool {
        self.from <= at && at < self.to
    }
}

/// String N1b of the shed opens and stays open.
pub const STRING_IS_OPEN: Period = Period::new(on(3, 10, 40), END);
/// The supply voltage rises until both inverters let go, and stays away for six minutes.
pub const SUPPLY_IS_HIGH: Period = Period::new(on(4, 12, 40), on(4, 13, 8));
pub const SUPPLY_TRIPPED: Period = Period::new(on(4, 13, 2), on(4, 13, 9));
/// The hall's converter is unplugged.
pub const LINK_IS_OFF: Period = Period::new(on(4, 15, 0), on(4, 15, 40));
/// Rain in the night; the wet junction box keeps the hall off until it dries.
pub const IS_WET: Period = Period::new(on(5, 2, 0), on(5, 9, 20));
/// The isolator of the west string is left open.
pub const INPUT_IS_DEAD: Period = Period::new(on(5, 13, 30), on(6, 11, 0));

/// Cloud of a day: share of the sky that is cloudy, 0 is clear.
pub const CLOUDS: [f64; DAYS as usize] = [0.0, 0.55, 0.1, 0.0, 0.25, 0.0];
