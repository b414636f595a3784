//! What took an energy that is missing, in English.
//! Never in here: how much it was.

use analysis::array::Limit;
use analysis::ledger::Loss;

/// A limit in trade words.
pub fn limit(limit: Limit) -> &'static str {
    match limit {
        Limit::Asleep => "too little voltage to start",
        Limit::RatedPower => "rated power",
        Limit::ApparentPower => "reactive power",
        Limit::Command => "a command or export limit",
        Limit::VoltWatt => "high supply voltage",
        Limit::Heat => "heat",
        Limit::TrackingLow => "lower end of the tracking window",
        Limit::TrackingHigh => "upper end of the tracking window",
        Limit::InputCurrent => "highest current of the input",
        Limit::NotTold => "a limit that nothing tells",
    }
}

/// A line of the ledger.
pub fn loss(loss: Loss) -> String {
    match loss {
        Loss::Limited(by) => format!("Held back: {}", limit(by)),
        Loss::Finding(kind) => kind.title().to_owned(),
        Loss::Outage => "Stood still, no finding says why".to_owned(),
        Loss::NotRecorded => "Not recorded".to_owned(),
        Loss::Unexplained => "Unexplained".to_owned(),
    }
}
