//! The message map as it stands: every table with every key, its default and meaning.
//! Nothing is checked across keys here.

use crate::registers::shapes::{BitTable, Given, Sentinels, StateTable};
use crate::table::Need::{Default, Optional, Required};
use crate::table::{Key, Rule, Table, table};

const fn range(low: f64, high: f64) -> Rule {
    Rule::Range {
        low,
        high,
        unit: "",
    }
}

table! {
    /// The whole file.
    Map {
        name: String, Required, Rule::Words("text"), "name of the device for people";
        payload: String, Required, Rule::OneOf(&["json", "number", "sparkplug"]),
            "what a message holds: a JSON document, one number as text, or a Sparkplug B payload";
        time: String, Optional("arrival"), Rule::OneOf(&["arrival", "rfc3339", "unix-s", "unix-ms"]),
            "when the values were taken: on arrival, or as the document says; sparkplug says it itself";
        time_pointer: String, Optional("none, required with a time in the document"),
            Rule::Words("JSON pointer"), "where the time stands in the document";
        value: Vec<MessageValue>, Required, Rule::Words("[[value]]"), "what is taken from messages";
    }
}

table! {
    /// `[[value]]`
    MessageValue {
        channel: String, Required, Rule::Words("channel within the device"),
            "what the value is: ac_power_w, input-1/dc_voltage_v, input-1/string-2/dc_current_a";
        topic: String, Optional("the topic of the source itself"), Rule::Words("text"),
            "below the topic of the source; + stands for any one part";
        pointer: String, Optional("none, required with json"), Rule::Words("JSON pointer"),
            "where the value stands in the document, as /ac/power or /inputs/0/v";
        metric: String, Optional("none, required with sparkplug"), Rule::Words("text"),
            "name of the metric in the births of the device";
        scale: f64, Default(1.0), range(-1e9, 1e9), "times this, never 0";
        offset: f64, Default(0.0), range(-1e9, 1e9), "plus this, after the scale";
        not_available: Sentinels, Optional("none"), Rule::Words("a number, or several in [ ]"),
            "numbers in the message that say that there is no value";
        faulty: Sentinels, Optional("none"), Rule::Words("a number, or several in [ ]"),
            "numbers in the message that say that the device's own measuring is broken";
        states: Given<StateTable>, Optional("none, required with the channel state"),
            Rule::Words("[value.states]"), "\"number\" = \"word\"";
        bits: Given<BitTable>, Optional("none, required with the channel event_bits"),
            Rule::Words("[value.bits]"), "\"bit from 0\" = \"word\"";
    }
}

/// Every table of a message map with its name in messages and its keys.
pub const MESSAGE_TABLES: &[(&str, &[Key])] = &[("", Map::KEYS), ("value", MessageValue::KEYS)];
