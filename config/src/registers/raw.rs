//! The register map as it stands: every table with every key, its unit, range, default and meaning.
//! Nothing is checked across keys here.

use super::shapes::{BitTable, Given, Sentinels, StateTable};
use crate::table::Need::{Default, Optional, Required};
use crate::table::{Key, Rule, Table, table};

const fn range(low: f64, high: f64, unit: &'static str) -> Rule {
    Rule::Range { low, high, unit }
}

const FUNCTIONS: Rule = Rule::OneOf(&["holding", "input", "coil", "discrete-input"]);
const ORDERS: Rule = Rule::OneOf(&["high-first", "low-first"]);
const AS_ABOVE: &str = "as at the top of the file";

table! {
    /// The whole file.
    Map {
        name: String, Required, Rule::Words("text"), "name of the device for people";
        addresses_count_from: u32, Required, range(0.0, 1.0, ""),
            "1 where the maker's list calls the first register 1, 0 where it calls it 0";
        function: Given<String>, Optional("none, then each register says it"), FUNCTIONS,
            "holding: function 3, input: 4, coil: 1, discrete-input: 2";
        word_order: String, Optional("high-first"), ORDERS,
            "of numbers in two registers and more";
        byte_order: String, Optional("high-first"), ORDERS, "inside each register";
        max_block: u32, Default(60.0), range(1.0, 125.0, ""), "most registers in one request";
        max_gap: u32, Default(4.0), range(0.0, 124.0, ""),
            "most unneeded registers in a row that are read along; 0 where a device refuses unknown ones";
        forbidden: Vec<Forbidden>, Optional("none"), Rule::Words("[[forbidden]]"),
            "addresses that must never be read";
        register: Vec<Register>, Required, Rule::Words("[[register]]"), "what is read";
    }
}

table! {
    /// `[[forbidden]]`
    Forbidden {
        function: Given<String>, Optional(AS_ABOVE), FUNCTIONS, "with this function";
        from: u32, Required, range(0.0, 65_536.0, ""), "first address";
        to: u32, Required, range(0.0, 65_536.0, ""), "last address";
    }
}

table! {
    /// `[[register]]`
    Register {
        channel: String, Required, Rule::Words("channel within the device"),
            "what the value is: ac_power_w, input-1/dc_voltage_v, input-1/string-2/dc_current_a";
        address: u32, Required, range(0.0, 65_536.0, ""), "first register of the value";
        function: Given<String>, Optional(AS_ABOVE), FUNCTIONS, "how it is read";
        r#type: Given<String>, Optional("bit for coils and discrete inputs, else required"),
            Rule::OneOf(&["u16", "i16", "u32", "i32", "u64", "i64", "f32", "f64", "bit"]),
            "u: whole, i: with sign, f: floating point, and the number of bits";
        word_order: String, Optional(AS_ABOVE), ORDERS, "of this value's registers";
        byte_order: String, Optional(AS_ABOVE), ORDERS, "inside each of them";
        scale: f64, Default(1.0), range(-1e9, 1e9, ""), "times this, never 0";
        offset: f64, Default(0.0), range(-1e9, 1e9, ""), "plus this, after the scale";
        not_available: Sentinels, Optional("none"), Rule::Words("a number, or several in [ ]"),
            "numbers in the register that say that there is no value";
        faulty: Sentinels, Optional("none"), Rule::Words("a number, or several in [ ]"),
            "numbers in the register that say that the device's own measuring is broken";
        states: Given<StateTable>, Optional("none, required with the channel state"),
            Rule::Words("[register.states]"), "\"number\" = \"word\"";
        bits: Given<BitTable>, Optional("none, required with the channel event_bits"),
            Rule::Words("[register.bits]"), "\"bit from 0\" = \"word\"";
        every_s: f64, Optional("as the source"), range(1.0, 86_400.0, "s"),
            "time between two reads, a multiple of the source's; not for ac_power_w, state, event_bits";
    }
}

/// Every table of a register map with its name in messages and its keys.
pub const MAP_TABLES: &[(&str, &[Key])] = &[
    ("", Map::KEYS),
    ("forbidden", Forbidden::KEYS),
    ("register", Register::KEYS),
];
