//! Words for operating states and event bits in register maps. Never in here: their numbers.

use analysis::plant::{EventBit, State};

const STATES: [(&str, State); 8] = [
    ("off", State::Off),
    ("sleeping", State::Sleeping),
    ("starting", State::Starting),
    ("tracking", State::Tracking),
    ("throttled", State::Throttled),
    ("shutting-down", State::ShuttingDown),
    ("fault", State::Fault),
    ("standby", State::Standby),
];

const EVENTS: [(&str, EventBit); 18] = [
    ("ground-fault", EventBit::GroundFault),
    ("dc-over-voltage", EventBit::DcOverVoltage),
    ("ac-disconnect", EventBit::AcDisconnect),
    ("dc-disconnect", EventBit::DcDisconnect),
    ("grid-disconnect", EventBit::GridDisconnect),
    ("cabinet-open", EventBit::CabinetOpen),
    ("manual-shutdown", EventBit::ManualShutdown),
    ("over-temperature", EventBit::OverTemperature),
    ("over-frequency", EventBit::OverFrequency),
    ("under-frequency", EventBit::UnderFrequency),
    ("ac-over-voltage", EventBit::AcOverVoltage),
    ("ac-under-voltage", EventBit::AcUnderVoltage),
    ("blown-string-fuse", EventBit::BlownStringFuse),
    ("under-temperature", EventBit::UnderTemperature),
    ("memory-loss", EventBit::MemoryLoss),
    ("hardware-test-failure", EventBit::HardwareTestFailure),
    ("makers-alarm", EventBit::MakersAlarm),
    ("arc-detected", EventBit::ArcDetected),
];

/// Words that may stand in a table of states.
pub fn state_words() -> impl Iterator<Item = &'static str> {
    STATES.iter().map(|(word, _)| *word)
}

/// Words that may stand in a table of event bits.
pub fn event_words() -> impl Iterator<Item = &'static str> {
    EVENTS.iter().map(|(word, _)| *word)
}

pub(super) fn state(word: &str) -> Option<State> {
    STATES.iter().find(|(w, _)| *w == word).map(|(_, s)| *s)
}

pub(super) fn event(word: &str) -> Option<EventBit> {
    EVENTS.iter().find(|(w, _)| *w == word).map(|(_, e)| *e)
}
