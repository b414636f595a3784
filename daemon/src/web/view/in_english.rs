//! Words in answers for programs: always English.

use crate::web::texts::ENGLISH;
use analysis::detect::Gate;
use analysis::plant::{EventBit, State};
use serde::{Serialize, Serializer};

/// The state of an inverter.
pub fn state<S: Serializer>(state: &Option<State>, to: S) -> Result<S::Ok, S::Error> {
    state.map(ENGLISH.words.state).serialize(to)
}

/// What it reports.
pub fn events<S: Serializer>(events: &[EventBit], to: S) -> Result<S::Ok, S::Error> {
    to.collect_seq(events.iter().map(|event| (ENGLISH.words.event)(*event)))
}

/// Whether an input was tested, as one word.
pub fn gate<S: Serializer>(gate: &Gate, to: S) -> Result<S::Ok, S::Error> {
    to.serialize_str(match gate {
        Gate::Valid => "valid",
        Gate::Dark => "dark",
        Gate::Unsteady => "unsteady",
        Gate::Limited => "limited",
        Gate::NotProducing => "not_producing",
        Gate::NoWeather => "no_weather",
        Gate::NotMeasured => "not_measured",
    })
}
