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
}

/// Watches one inverter, slot by slot.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct StandstillWatch {
    now: Option<Standstill>,
}

impl StandstillWatch {
    /// It has not stood still yet.
    pub fn new() -> Self {
        Self::default()
    }

    /// Takes one lit slot; dark slots are not handed in. Returns how long it has stood still.
    pub fn lit_slot(
        &mut self,
        start: Time,
        slot: Span,
        produced: bool,
        expected_wh: f64,
    ) -> Option<Standstill> {
        if produced {
            self.now = None;
            return None;
        }
        let still = self.now.get_or_insert(Standstill {
            began: start,
            light: Span::ZERO,
            missing_wh: 0.0,
        });
        still.light = still.light + slot;
        still.missing_wh += expected_wh;
        Some(*still)
    }
}
