//! One hour of one inverter in the ledger, and the names of what it can lose.
//! Never in here: what is charged to whom (`balance`).

use crate::array::Limit;
use crate::detect::Kind;
use crate::reading::{Energy, Time};
use std::collections::BTreeMap;

/// What a missing energy can be charged to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Loss {
    /// Held back by a limit.
    Limited(Limit),
    /// Lost to findings of a kind.
    Finding(Kind),
    /// An inverter stood still in the light, and no finding says why.
    Outage,
    /// Expected while nothing was recorded.
    NotRecorded,
    /// The rest, of either sign.
    Unexplained,
}

impl Loss {
    /// Every loss, in the order of the ledger's columns: a new kind or limit has its own by itself.
    pub fn all() -> impl Iterator<Item = Loss> {
        let limits = Limit::ALL.iter().copied().map(Loss::Limited);
        let kinds = Kind::costly().map(Loss::Finding);
        let rest = [Loss::Outage, Loss::NotRecorded, Loss::Unexplained];
        limits.chain(kinds).chain(rest)
    }

    /// Its name in files, without a unit.
    pub fn name(self) -> String {
        match self {
            Loss::Limited(limit) => format!("limited_by_{}", limit.name()),
            Loss::Finding(kind) => format!("lost_{}", kind.name()),
            Loss::Outage => "lost_outage".to_owned(),
            Loss::NotRecorded => "not_recorded".to_owned(),
            Loss::Unexplained => "unexplained".to_owned(),
        }
    }
}

/// One hour of one inverter.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// Start of the hour, UTC.
    pub hour: Time,
    /// Index of the inverter in the plant.
    pub inverter: usize,
    /// What the weather would have given.
    pub expected: Energy,
    /// What was measured.
    pub measured: Energy,
    /// Held back, by limit.
    pub limited: BTreeMap<Limit, Energy>,
    /// What the array could have given above rated power; no part of the balance.
    pub above_rated: Energy,
    /// What was produced while it was not known what the weather would give; no part of the balance.
    pub not_compared: Energy,
    /// Lost to findings, by kind.
    pub findings: BTreeMap<Kind, Energy>,
    /// Lost while the inverter stood still in the light, without a finding that says why.
    pub outage: Energy,
    /// Expected while nothing was recorded.
    pub not_recorded: Energy,
    /// The rest.
    pub unexplained: Energy,
}

impl Entry {
    /// Nothing yet, of an hour of an inverter.
    pub fn new(hour: Time, inverter: usize) -> Self {
        let zero = Energy::from_wh(0.0);
        Self {
            hour,
            inverter,
            expected: zero,
            measured: zero,
            limited: BTreeMap::new(),
            above_rated: zero,
            not_compared: zero,
            findings: BTreeMap::new(),
            outage: zero,
            not_recorded: zero,
            unexplained: zero,
        }
    }

    /// Every loss with its energy; with what was measured they add up to what was expected.
    pub fn losses(&self) -> impl Iterator<Item = (Loss, Energy)> + '_ {
        Loss::all().map(|loss| (loss, self.lost(loss)))
    }

    fn lost(&self, loss: Loss) -> Energy {
        let none = Energy::from_wh(0.0);
        match loss {
            Loss::Limited(limit) => self.limited.get(&limit).copied().unwrap_or(none),
            Loss::Finding(kind) => self.findings.get(&kind).copied().unwrap_or(none),
            Loss::Outage => self.outage,
            Loss::NotRecorded => self.not_recorded,
            Loss::Unexplained => self.unexplained,
        }
    }

    /// Held back by all limits together.
    pub fn limited_total(&self) -> Energy {
        // An empty sum of floats is -0.
        Energy::from_wh(self.limited.values().fold(0.0, |sum, e| sum + e.wh()))
    }
}
