//! What to do about a finding, and what can hurt while doing it.
//!
//! The cautions follow common practice for work on photovoltaic plants; they defer to local codes
//! and licensed people and never replace the protection of the equipment.

use super::Subject;
use crate::detect::Kind;

const LIVE: &str = "PV strings are live whenever there is light, also with the inverter off.";
const LOAD: &str = "Never open a DC connector or a string fuse under load: shut the inverter down, \
                    open the AC and the DC isolator, prove zero current with a clamp meter first.";
const EARTH: &str = "Treat the array frame and the cables as live while an isolation fault stands; \
                     keep people away from them.";
const RESET: &str = "Do not reset the inverter again and again: each start feeds the fault.";
const LICENSED: &str = "Work on DC or supply wiring is for licensed people under local codes. \
                        Noonmark advises and never replaces the inverter's own protection.";
const HOT: &str = "A bad joint of the supply is hot while the sun shines and may arc. Where it smells burnt, \
                   hums, is warm or discoloured: shut the inverter down, keep away and call now.";
const SERVICE: &str = "Meter, main switch and service cable stay live with every switch of the house open: \
                       only the network operator can isolate them.";
const ROOF: &str = "Do not climb a wet, icy or snow-covered roof; covered modules need no help to \
                    clear.";

/// What can hurt: the same for everything that may send somebody to the wiring.
pub(super) fn caution(kind: Kind) -> Vec<String> {
    let lines: &[&str] = match kind {
        Kind::Snow => &[ROOF],
        Kind::IsolationLow | Kind::IsolationFalling | Kind::ResidualCurrentHigh => {
            &[EARTH, LIVE, LOAD, RESET, LICENSED]
        }
        Kind::SupplyResistanceHigh => &[HOT, SERVICE, LIVE, LOAD, RESET, LICENSED],
        Kind::GridVoltageHigh => &[SERVICE, LIVE, LOAD, RESET, LICENSED],
        Kind::InputDead
        | Kind::StringOpen
        | Kind::CurrentLow
        | Kind::InverterOff
        | Kind::GridTrip
        | Kind::GridTripsRepeated
        | Kind::LinkLost => &[LIVE, LOAD, RESET, LICENSED],
    };
    lines.iter().map(ToString::to_string).collect()
}

/// What to do, first things first.
pub(super) fn advice(kind: Kind, subject: &Subject) -> Vec<String> {
    let device = &subject.device;
    let place = match subject.input {
        Some(n) => format!("input {n} of {device}"),
        None => device.to_string(),
    };
    match kind {
        Kind::InputDead => vec![
            format!("See whether the DC isolator of {place} is closed."),
            "Look at the connectors and, where fitted, the fuses of its strings.".to_owned(),
            "With the inverter shut down, compare the open-circuit voltage of each string with its \
             siblings."
                .to_owned(),
        ],
        Kind::StringOpen => vec![
            format!("With a DC clamp meter, compare the currents of the strings on {place}."),
            "Where one carries nothing: check its isolator, fuse, connectors and cable, in this \
             order; look for melted or discoloured connectors."
                .to_owned(),
            "With the inverter shut down, measure that string's open-circuit voltage.".to_owned(),
        ],
        Kind::CurrentLow => vec![
            format!("Look at the modules of {place} for dirt, growth and new shade."),
            "Compare the string currents with a clamp meter at the same moment.".to_owned(),
            "Where nothing is seen, take I-V curves of the strings above 400 W/m2.".to_owned(),
        ],
        Kind::Snow => {
            vec!["Nothing: it clears by itself. The energy is booked as lost to cover.".to_owned()]
        }
        Kind::InverterOff => vec![
            format!("Read the display or the event list of {device}."),
            "Check the AC isolator and breaker, then the DC isolator.".to_owned(),
            "If it stays off with a good supply and good light, call the installer.".to_owned(),
        ],
        Kind::IsolationLow => vec![
            format!("Keep away from the array of {device} and have a licensed person look at it."),
            "Note whether it was raining or dewy: a fault that shows only when wet is still there \
             when it is dry."
                .to_owned(),
            "Find the string by measuring the insulation of each one alone.".to_owned(),
        ],
        Kind::IsolationFalling => vec![
            "Plan a visit by a licensed person before the day on which the limit would be reached: \
             from then on the inverter does not start."
                .to_owned(),
            format!(
                "On a dry day, have the insulation of each string of {device} measured alone, and \
                 compare with the record of the handover."
            ),
            "Look for water in junction boxes and conduits, connectors that lie in the wet, cables \
             over edges or gnawed, cracked back sheets."
                .to_owned(),
        ],
        Kind::ResidualCurrentHigh => vec![
            format!("Keep away from the array of {device} and have a licensed person look at it."),
            "Have the inverter's own residual-current monitor checked: at a current that lasts above \
             the limit it should have disconnected within 0.3 s."
                .to_owned(),
            "Note whether it was raining: water raises the steady leakage to tens of milliampere, \
             not to hundreds."
                .to_owned(),
            "Sudden steps (30, 60, 150 mA), on which the inverter also disconnects, are too fast for \
             the values that are read: read its event list for them."
                .to_owned(),
        ],
        Kind::GridTrip => vec![
            "Nothing for a single trip: the inverter reconnects by itself.".to_owned(),
            "If it returns, send the voltages before the trips to the installer or the network \
             operator."
                .to_owned(),
        ],
        Kind::GridTripsRepeated => vec![
            format!(
                "Where the whole site lets go or the voltage was high: send the times and voltages \
                 of the trips of {device} to the network operator."
            ),
            format!(
                "Where {device} lets go alone, or the supply was lost: have its AC isolator, breaker, \
                 residual-current device and terminals looked at."
            ),
            "Do not raise a protection limit without the network operator's consent.".to_owned(),
        ],
        Kind::GridVoltageHigh => vec![
            "Where the network is high without export: write to the network operator, with the \
             voltages and the chart; it can lower the transformer's tap."
                .to_owned(),
            format!(
                "Where the own export lifts it: have the installer check length, section and joints \
                 of the cable between {device} and the transformer's side of the meter."
            ),
            "Feed-in of neighbours moves with the same clouds and is part of the rise: compare with \
             the calculated voltage rise of the cable."
                .to_owned(),
        ],
        Kind::SupplyResistanceHigh => vec![
            format!(
                "Have the terminals of the phase between {device} and the meter looked at and \
                 tightened to their torque, with a thermal picture at high export first."
            ),
            "Where another inverter of the site shows the same, the joint is in what they share; else \
             in the branch of this one."
                .to_owned(),
            "Where nothing is found on this side of the meter, ask the network operator to check the \
             service connection, and whether the network has been switched."
                .to_owned(),
        ],
        Kind::LinkLost => vec![
            format!("See whether {device} has power and its network link is up."),
            "If it is an inverter and its display is dark in daylight, treat it as one that is off."
                .to_owned(),
        ],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_is_sent_to_the_wiring_is_told_all_that_can_hurt() {
        for kind in Kind::ALL {
            let said = caution(*kind);
            let has = |line: &str| said.iter().any(|s| s == line);
            assert_eq!(has(HOT), *kind == Kind::SupplyResistanceHigh, "{kind:?}");
            let to_earth = [
                Kind::IsolationLow,
                Kind::IsolationFalling,
                Kind::ResidualCurrentHigh,
            ];
            assert_eq!(has(EARTH), to_earth.contains(kind), "{kind:?}");
            let wiring = [LIVE, LOAD, RESET, LICENSED];
            assert!(
                *kind == Kind::Snow || wiring.iter().all(|line| has(line)),
                "{kind:?}"
            );
        }
    }
}
