//! Alarms of DC inputs as event bits of the inverter, and back.
//!
//! Left out are those that an input shows with nothing wrong (disconnected, stopped, too little voltage: an
//! input that nothing is connected to, or the night) and those that have no event bit (too much current).
//! Source: SunSpec model definition files, symbols of `Evt` and `DCEvt` (160) and `DCAlrm` (714).
//! Never in here: which input it was.

use analysis::plant::EventBit;

/// Bit of the input's models, bit of the inverter.
const ALARMS: [(u32, EventBit); 9] = [
    (0, EventBit::GroundFault),
    (1, EventBit::DcOverVoltage),
    (5, EventBit::CabinetOpen),
    (7, EventBit::OverTemperature),
    (12, EventBit::BlownStringFuse),
    (13, EventBit::UnderTemperature),
    (14, EventBit::MemoryLoss),
    (15, EventBit::ArcDetected),
    (20, EventBit::HardwareTestFailure),
];

/// The number for the channel `event_bits`.
pub(super) fn event_bits(alarms: f64) -> f64 {
    let alarms = alarms as u32;
    let set = ALARMS.iter().filter(|(bit, _)| alarms & 1 << bit != 0);
    f64::from(set.fold(0, |bits, (_, event)| bits | 1 << (*event as u32)))
}

/// The alarms that are read as these event bits.
pub(super) fn alarms(event_bits: f64) -> f64 {
    let set = ALARMS.iter().filter(|(_, event)| event.is_set(event_bits));
    f64::from(set.fold(0, |bits, (bit, _)| bits | 1 << bit))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_alarm_goes_there_and_back_and_the_others_are_none() {
        for (bit, event) in ALARMS {
            let number = f64::from(1_u32 << bit);
            assert_eq!(event_bits(number), f64::from(1_u32 << event as u32));
            assert_eq!(alarms(event_bits(number)), number);
        }
        // Disconnected, stopped by hand, too little voltage, too much current; bits without a meaning.
        assert_eq!(
            event_bits(f64::from(1_u32 << 3 | 1 << 6 | 1 << 21 | 1 << 22 | 1 << 31)),
            0.0
        );
    }
}
