//! An inverter that produces nothing although its planes are lit.
//! Never in here: why; cold weather, the supply and the inverter itself are told apart later.

use crate::reading::{Span, Time};
use serde::{Deserialize, Serialize};

/// Light without any output.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Standstill {
    /// First lit slot without output.
    pub began: Time,
    /// Lit time without output since then.
    pub light: Span,
    /// Energy that was expected meanwhile [Wh].
    pub missing_wh: f64,
    /// Whether it worked well just before: the slot in which it stops is partly worked.
    pub came_at_once: bool,
}

/// What an inverter made of a lit slot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Made {
    /// Nothing, where so much was expected [Wh].
    Nothing(f64),
    /// Less than what counts as well, or nobody knows.
    Little,
    /// About what was expected.
    Well,
}

/// Watches one inverter, slot by slot.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StandstillWatch {
    now: Option<Standstill>,
    /// End of the latest lit slot in which it worked well.
    worked_until: Option<Time>,
}

impl StandstillWatch {
    /// It has not stood still yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one lit slot; dark slots are not handed in. Returns how long it has stood still.
    pub fn lit_slot(&mut self, start: Time, slot: Span, made: Made) -> Option<Standstill> {
        let Made::Nothing(expected_wh) = made else {
            self.now = None;
            if made == Made::Well {
                self.worked_until = Some(start + slot);
            }
            return None;
        };
        let came_at_once = self.worked_until.is_some_and(|until| start - until <= slot);
        let still = self.now.get_or_insert(Standstill {
            began: start,
            light: Span::ZERO,
            missing_wh: 0.0,
            came_at_once,
        });
        still.light = still.light + slot;
        still.missing_wh += expected_wh;
        Some(*still)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOT: Span = Span::from_min(5);

    /// How the last of these slots stands, one after the other.
    fn after(slots: &[Made]) -> Option<Standstill> {
        let mut watch = StandstillWatch::new();
        let mut still = None;
        for (n, made) in (0..).zip(slots) {
            still = watch.lit_slot(Time::from_unix_ms(0) + SLOT * n, SLOT, *made);
        }
        still
    }

    #[test]
    fn a_standstill_comes_at_once_or_out_of_little_or_with_the_light() {
        let nothing = Made::Nothing(100.0);
        let came_at_once = |slots: &[Made]| after(slots).map(|still| still.came_at_once);
        assert_eq!(came_at_once(&[Made::Well, nothing, nothing]), Some(true));
        let partly = [Made::Well, Made::Little, nothing];
        assert_eq!(came_at_once(&partly), Some(true));
        let faded = [Made::Well, Made::Little, Made::Little, nothing];
        assert_eq!(came_at_once(&faded), Some(false));
        assert_eq!(came_at_once(&[nothing]), Some(false));
        assert_eq!(after(&[nothing, Made::Little]), None);
        let still = after(&[nothing, nothing]).expect("it stands");
        assert_eq!((still.light, still.missing_wh), (SLOT * 2, 200.0));
    }
}
