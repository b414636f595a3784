//! What to do when a certain protection has acted, and what can hurt then, by common practice.
//! Never in here: what goes with all of them (`advice`).

use crate::detect::Protection;

/// What comes before the advice of the kind.
pub fn protection_advice(which: Protection) -> &'static [&'static str] {
    match which {
        Protection::Arc => &[
            "Have a licensed person look for the arc before it is switched on again: connectors, \
             terminals, junction boxes and cables of its strings.",
        ],
        Protection::DcOverVoltage => &[
            "Have a licensed person compare the open-circuit voltage of each string on a cold, bright \
             morning with the highest that the inverter may see.",
        ],
        Protection::BlownStringFuse => &[
            "Have a licensed person find out why the fuse has blown before it is replaced: a short or an \
             earth fault in its string, or a reversed one.",
        ],
        Protection::OverTemperature => &[
            "Clean the fan and the filter, from outside; look for sun or boxes against the inverter.",
        ],
        Protection::CabinetOpen => &["See whether the covers are shut: rain must not get in."],
        Protection::HardwareTest
        | Protection::DcDisconnect
        | Protection::AcDisconnect
        | Protection::MemoryLoss
        | Protection::MakersAlarm
        | Protection::UnderTemperature => &[],
    }
}

/// What can hurt beside what goes with the kind.
pub fn protection_caution(which: Protection) -> &'static [&'static str] {
    match which {
        Protection::Arc => &[
            "An arc can burn on with the inverter off, as long as there is light. Where it smells burnt, \
             smokes or crackles: keep away, keep people away and call the fire service; tell them that \
             it is a PV array.",
            "Do not reset an arc alarm to see whether it comes back.",
        ],
        Protection::DcOverVoltage => &[
            "The strings may carry more than their parts are made for: keep away from cables and connectors.",
        ],
        Protection::BlownStringFuse
        | Protection::HardwareTest
        | Protection::OverTemperature
        | Protection::CabinetOpen
        | Protection::DcDisconnect
        | Protection::AcDisconnect
        | Protection::MemoryLoss
        | Protection::MakersAlarm
        | Protection::UnderTemperature => &[],
    }
}
