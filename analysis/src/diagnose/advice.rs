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
const HOT: &str = "A bad joint of the supply is hot while the sun shines and may arc. Smoke, fire or a smell of \
                   burning: keep away and call the fire service. Where it hums, is warm or discoloured: shut \
                   the inverter down, keep away and call the installer or the network operator.";
const SERVICE: &str = "Meter, main switch and service cable stay live with every switch of the house open: \
                       only the network operator can isolate them.";
const JOINT: &str = "A DC joint with resistance is hot while the sun shines and may arc. Smoke, fire or a smell \
                     of burning: keep away and call the fire service. Do not touch or pull a connector that \
                     is discoloured or melted: keep away and call the installer.";
const HEIGHT: &str = "Work on a roof needs protection against falls. Never put cold water on hot modules, and no \
                      water on damaged ones.";
const COVERS: &str = "Leave the covers of the inverter to licensed people: its capacitors stay charged long after \
                      it is off.";
const ROOF: &str = "Do not climb a wet, icy or snow-covered roof; covered modules need no help to \
                    clear.";

/// What can hurt: the same for everything that may send somebody to the wiring.
pub fn caution(kind: Kind) -> Vec<String> {
    let lines: &[&str] = match kind {
        Kind::Snow => &[ROOF],
        Kind::IsolationLow | Kind::IsolationFalling | Kind::ResidualCurrentHigh => {
            &[EARTH, LIVE, LOAD, RESET, LICENSED]
        }
        Kind::SupplyResistanceHigh => &[HOT, SERVICE, LIVE, LOAD, RESET, LICENSED],
        // Behind a voltage that rises with the export, or trips that return, may be a joint that burns.
        Kind::GridVoltageHigh | Kind::GridTripsRepeated => {
            &[HOT, SERVICE, LIVE, LOAD, RESET, LICENSED]
        }
        Kind::ResistanceHigh => &[JOINT, LIVE, LOAD, RESET, LICENSED],
        Kind::Shade | Kind::Soiling | Kind::Degradation => &[HEIGHT, LIVE, LOAD, RESET, LICENSED],
        Kind::EfficiencyLow | Kind::Limited | Kind::TrackerOffPeak => {
            &[COVERS, LIVE, LOAD, RESET, LICENSED]
        }
        Kind::InputDead
        | Kind::StringOpen
        | Kind::SectionLost
        | Kind::CurrentLow
        | Kind::InputsSwapped
        | Kind::StringCountDiffers
        | Kind::ProtectionActed
        | Kind::InverterOff
        | Kind::GridTrip
        | Kind::LinkLost
        | Kind::ValueFrozen
        | Kind::ValueImpossible
        | Kind::ClockOff
        | Kind::SensorWrong => &[LIVE, LOAD, RESET, LICENSED],
    };
    lines.iter().map(ToString::to_string).collect()
}

/// What to do, first things first.
pub fn advice(kind: Kind, subject: &Subject) -> Vec<String> {
    let device = &subject.device;
    let place = match subject.input {
        Some(n) => format!("input {n} of {device}"),
        None => device.to_string(),
    };
    if let Some(said) = subject
        .string
        .as_ref()
        .and_then(|label| of_string(kind, label, &place))
    {
        return said;
    }
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
        Kind::SectionLost => vec![
            format!("Compare the voltage of the strings on {place} with the design: one bypass section is a third \
                     of most modules."),
            "With the inverter shut down, measure the open-circuit voltage of the string, then module by \
             module: one that is short by a third has lost a section."
                .to_owned(),
            "A thermal picture in good light shows the section evenly warmer. Ask for the module's \
             warranty; after lightning, look at all of them."
                .to_owned(),
        ],
        Kind::ResistanceHigh => vec![
            format!("Have a licensed person look at the connectors, fuses and isolators of {place}, first with a \
                     thermal camera at high light."),
            "Replace both halves of a hot connector with parts of one make, crimped with the tool made for \
             them."
                .to_owned(),
            "Tighten terminals to their stated torque, with the string isolated and its current proven zero."
                .to_owned(),
        ],
        Kind::Shade => vec![
            format!("Look from the modules of {place} towards the stated direction of the sun: growth, a new \
                     building, an aerial, a parked vehicle."),
            "Trim or move what shades, where that is possible; else it becomes part of what is expected."
                .to_owned(),
        ],
        Kind::Soiling => vec![
            "Look at the modules, and at an irradiance sensor in their plane: a dirty sensor hides dirt."
                .to_owned(),
            "Have them cleaned when the energy lost until the next good rain is worth more than the cleaning."
                .to_owned(),
        ],
        Kind::Degradation => vec![
            "Compare the yearly rate and its interval with the modules' warranty.".to_owned(),
            "Have I-V curves taken of some strings above 400 W/m2 and compared with those of the handover."
                .to_owned(),
        ],
        Kind::TrackerOffPeak => vec![
            format!("See on {device} whether an export limit, a fixed voltage or another mode is set on {place}."),
            "If there is none: restart the inverter at low sun, and ask for its firmware.".to_owned(),
            "Where shade passes over the array, see whether its search for the highest peak is switched on."
                .to_owned(),
        ],
        Kind::InputsSwapped => vec![
            format!("Compare the labels of the strings on {place} with the plan of the array."),
            "If the wiring is right, correct the planes of the strings in the site file; if not, note it for \
             whoever works on the array next."
                .to_owned(),
        ],
        Kind::StringCountDiffers => vec![
            format!("Count the strings on {place} and the modules in them, and compare with the site file."),
            "If the array is right, correct the site file. Strings of different length in parallel lose \
             energy on both."
                .to_owned(),
        ],
        Kind::ProtectionActed => vec![
            format!("Read the event list of {device} and note the time."),
            "If it returns, call the installer with the list.".to_owned(),
        ],
        Kind::Limited => vec![
            "Nothing: the inverter works as set. The energy is booked as limited, by limit.".to_owned(),
            "Where it is heat: clean the fan and the filter, and look for sun or boxes against the inverter."
                .to_owned(),
        ],
        Kind::EfficiencyLow => vec![
            format!("Compare AC and DC power on the display of {device}: a meter may be off."),
            "Clean its fan and filter; listen for a fan that stands still.".to_owned(),
            "If the loss stays, ask the installer: it is the inverter, not the array.".to_owned(),
        ],
        Kind::ValueFrozen => vec![
            format!("Restart the data logger or the network interface of {device}."),
            "If it freezes again, ask for its firmware.".to_owned(),
        ],
        Kind::ValueImpossible => vec![
            format!("Compare what {device} shows on its display with what is read: scale, word order and sign."),
            "Where a sensor is wired to it: look at the cable and the plug.".to_owned(),
        ],
        Kind::ClockOff => vec![
            format!("Set the clock and the time zone of {device}, or the time zone of the recording in the site \
                     file."),
        ],
        Kind::SensorWrong => vec![
            format!("Look at {device}: dirt, shade, level and direction; clean it."),
            "If it still differs from the array by the same share, have it calibrated or replaced.".to_owned(),
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
                "Where {device} lets go alone, or the supply was lost: have a licensed person look \
                 at its AC isolator, breaker, residual-current device and terminals."
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
                "Have a licensed person look at the terminals of the phase and of the neutral between {device} \
                 and the meter, with a thermal picture at high export first."
            ),
            "They are tightened to their torque with the inverter shut down, the branch isolated and locked, \
             and every pole proven dead."
                .to_owned(),
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

/// What to do about one string that is known by its label.
fn of_string(kind: Kind, label: &str, place: &str) -> Option<Vec<String>> {
    let meter = format!(
        "With a DC clamp meter, compare the current of string {label} on {place} with that of its \
         siblings: if they are alike, the measurement is off and not the string."
    );
    let rest = match kind {
        Kind::StringOpen => [
            "Check its isolator, fuse, connectors and cable, in this order; look for melted or \
             discoloured connectors.",
            "With the inverter shut down, measure its open-circuit voltage.",
        ],
        Kind::CurrentLow => [
            "Where several strings meet behind this measurement, measure each of them.",
            "Look for new shade, growth or dirt on its modules.",
        ],
        Kind::ValueFrozen => [
            "Restart the logger or the measuring card of its box.",
            "Where the number is the top of the sensor's range, have a larger sensor fitted.",
        ],
        _ => return None,
    };
    Some([meter].into_iter().chain(rest.map(str::to_owned)).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A bad neutral shows in the voltage of a phase like a bad phase, and is worse.
    #[test]
    fn the_neutral_is_named_beside_the_phase() {
        let subject = Subject::device(&crate::reading::DeviceId::new("inv-1"));
        let told = advice(Kind::SupplyResistanceHigh, &subject);
        assert!(
            told[0].contains("of the phase and of the neutral"),
            "{told:?}"
        );
    }

    #[test]
    fn whoever_is_sent_to_the_wiring_is_told_all_that_can_hurt() {
        for kind in Kind::ALL {
            let said = caution(*kind);
            let has = |line: &str| said.iter().any(|s| s == line);
            assert_eq!(has(JOINT), *kind == Kind::ResistanceHigh, "{kind:?}");
            let of_supply = [
                Kind::SupplyResistanceHigh,
                Kind::GridVoltageHigh,
                Kind::GridTripsRepeated,
            ];
            assert_eq!(has(HOT), of_supply.contains(kind), "{kind:?}");
            assert_eq!(has(SERVICE), of_supply.contains(kind), "{kind:?}");
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
