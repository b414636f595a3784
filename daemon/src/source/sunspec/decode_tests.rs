//! Hand-built images (numbers worked out from the standard by hand) and properties of decoding.

use super::*;
use crate::source::sunspec::{Identity, ModelImage};
use proptest::prelude::*;

fn three_phase() -> Vec<u16> {
    let mut image = vec![0x8000; 52];
    image[0] = 103;
    image[1] = 50;
    image[3..7].copy_from_slice(&[1512, 1508, 1511, 0xFFFE]); // A x 10^-2
    image[10..14].copy_from_slice(&[2304, 2311, 2298, 0xFFFF]); // V x 10^-1
    image[14..16].copy_from_slice(&[1042, 1]); // W x 10
    image[16..18].copy_from_slice(&[5001, 0xFFFE]); // Hz x 10^-2
    image[24..27].copy_from_slice(&[0x0001, 0x0002, 0]); // 65538 Wh
    image[27..33].copy_from_slice(&[0xFFFF, 0x8000, 6123, 0xFFFF, 1063, 1]);
    image[34] = 415; // heat sink
    image[37] = 0xFFFF;
    image[38] = 4;
    image[40..42].copy_from_slice(&[0, 0x0410]); // bits 4 and 10
    image
}

fn value(values: &[Decoded], spot: Spot, quantity: Quantity) -> Option<Value> {
    let best = best(values.to_vec());
    let found = best.iter().find(|v| v.place() == (spot, quantity));
    found.map(|decoded| decoded.value)
}

#[test]
fn a_three_phase_inverter_by_hand() {
    let values = decode(103, &three_phase());
    let device = |quantity| value(&values, Spot::Device, quantity);
    assert_eq!(device(Quantity::AcCurrentL1), Some(Value::Good(15.12)));
    assert_eq!(device(Quantity::AcVoltageL2), Some(Value::Good(231.1)));
    assert_eq!(device(Quantity::AcPower), Some(Value::Good(10_420.0)));
    assert_eq!(device(Quantity::Frequency), Some(Value::Good(50.01)));
    assert_eq!(device(Quantity::EnergyTotal), Some(Value::Good(65_538.0)));
    assert_eq!(
        device(Quantity::HeatsinkTemperature),
        Some(Value::Good(41.5))
    );
    assert_eq!(device(Quantity::State), Some(Value::Good(4.0)));
    assert_eq!(device(Quantity::EventBits), Some(Value::Good(1040.0)));
    assert_eq!(device(Quantity::AcReactivePower), Some(Value::Missing));
    let dc = |quantity| value(&values, Spot::AllInputs, quantity);
    assert_eq!(dc(Quantity::DcCurrent), Some(Value::Missing));
    assert_eq!(dc(Quantity::DcVoltage), Some(Value::Good(612.3)));
    assert_eq!(dc(Quantity::DcPower), Some(Value::Good(10_630.0)));
}

#[test]
fn a_missing_scale_makes_the_value_missing_and_nothing_else() {
    let mut image = three_phase();
    image[13] = 0x8000;
    let values = decode(103, &image);
    let device = |quantity| value(&values, Spot::Device, quantity);
    assert_eq!(device(Quantity::AcVoltageL1), Some(Value::Missing));
    assert_eq!(device(Quantity::AcPower), Some(Value::Good(10_420.0)));
}

#[test]
fn a_state_that_the_standard_does_not_know_takes_no_part() {
    let mut image = three_phase();
    image[38] = 9;
    let values = decode(103, &image);
    let state = value(&values, Spot::Device, Quantity::State);
    assert_eq!(state, Some(Value::OutOfRange(9.0)));
}

#[test]
fn all_event_bits_set_means_that_there_are_none() {
    let mut image = three_phase();
    image[40..42].copy_from_slice(&[0xFFFF, 0xFFFF]);
    let bits = value(&decode(103, &image), Spot::Device, Quantity::EventBits);
    assert_eq!(bits, Some(Value::Missing));
}

#[test]
fn inputs_are_numbered_in_the_order_of_their_blocks() {
    let mut image = vec![160, 48, 0xFFFE, 0xFFFF, 0, 0x8000, 0, 0, 2, 0xFFFF];
    for (current, voltage, power) in [(1834u16, 5800u16, 10_637u16), (0, 6912, 0)] {
        let mut block = vec![0xFFFF; 20];
        block[9..12].copy_from_slice(&[current, voltage, power]);
        image.extend(block);
    }
    let values = decode(160, &image);
    assert_eq!(values.len(), 7, "and that none has an alarm");
    let input = |n, quantity| value(&values, Spot::Input(n), quantity);
    assert_eq!(input(1, Quantity::DcCurrent), Some(Value::Good(18.34)));
    assert_eq!(input(1, Quantity::DcVoltage), Some(Value::Good(580.0)));
    assert_eq!(input(2, Quantity::DcCurrent), Some(Value::Good(0.0)));
    assert_eq!(input(2, Quantity::DcVoltage), Some(Value::Good(691.2)));
    // The device counts one module only.
    image[8] = 1;
    assert_eq!(decode(160, &image).len(), 4);
}

/// A model 714 of ports: kind, current, voltage, power, alarms. Exponents A -2, V -1, W 1; totals 9 A, 77 W.
fn ports(ports: &[(u16, i16, u16, i16, u32)]) -> Vec<u16> {
    let length = 18 + 25 * ports.len() as u16;
    let mut image = vec![0xFFFF; 20];
    image[..7].copy_from_slice(&[714, length, 0, 0, ports.len() as u16, 900, 77]);
    image[15..20].copy_from_slice(&[0xFFFE, 0xFFFF, 1, 0x8000, 0x8000]);
    for (kind, amps, volts, power, alarms) in ports {
        let mut block = vec![0xFFFF; 25];
        block[0] = *kind;
        block[10..13].copy_from_slice(&[*amps as u16, *volts, *power as u16]);
        block[23..25].copy_from_slice(&[(alarms >> 16) as u16, *alarms as u16]);
        image.extend(block);
    }
    image
}

#[test]
fn ports_of_modules_are_inputs_and_a_battery_is_none() {
    let of_modules = [(0, 1834, 5800, 1063, 0), (0, 912, 6912, 630, 0)];
    let values = decode(714, &ports(&of_modules));
    let at = |values: &[Decoded], spot, quantity| value(values, spot, quantity);
    let (amps, watts) = (Quantity::DcCurrent, Quantity::DcPower);
    assert_eq!(at(&values, Spot::Input(1), amps), Some(Value::Good(18.34)));
    assert_eq!(
        at(&values, Spot::Input(2), watts),
        Some(Value::Good(6300.0))
    );
    assert_eq!(at(&values, Spot::AllInputs, amps), Some(Value::Good(9.0)));
    assert_eq!(
        at(&values, Spot::AllInputs, watts),
        Some(Value::Good(770.0))
    );
    // A battery that is charged, between the two; the sum is not that of the inputs any more.
    let [first, second] = of_modules;
    let values = decode(714, &ports(&[first, (1, -500, 4000, -200, 1), second]));
    assert_eq!(at(&values, Spot::Input(1), amps), Some(Value::Good(18.34)));
    assert_eq!(at(&values, Spot::Input(2), amps), Some(Value::Good(9.12)));
    assert_eq!(
        values.len(),
        8,
        "nothing of the battery, not even its alarm"
    );
    // A device that does not say what its ports are for has modules on them.
    let values = decode(714, &ports(&[(0xFFFF, 1834, 5800, 1063, 0)]));
    assert_eq!(at(&values, Spot::Input(1), amps), Some(Value::Good(18.34)));
    // No current, no power.
    let values = decode(714, &ports(&[(0, i16::MIN, 5800, i16::MIN, 0)]));
    assert_eq!(at(&values, Spot::Input(1), amps), Some(Value::Missing));
    assert_eq!(at(&values, Spot::Input(1), watts), Some(Value::Missing));
}

#[test]
fn an_alarm_of_an_input_joins_those_of_the_inverter() {
    let arc_and_switch = 1 << 15 | 1 << 3;
    let alarmed = ports(&[(0, 0, 5800, 0, arc_and_switch), (0, 0, 5800, 0, 1)]);
    let bits = |images: &[&[u16]]| {
        let values: Vec<_> = images.iter().flat_map(|i| decode(i[0], i)).collect();
        value(&values, Spot::Device, Quantity::EventBits)
    };
    let of_inputs = f64::from(1u32 << 17 | 1);
    assert_eq!(bits(&[&alarmed]), Some(Value::Good(of_inputs)));
    let inverter = three_phase();
    let both = f64::from(0x0410u32 | 1 << 17 | 1);
    assert_eq!(bits(&[&inverter, &alarmed]), Some(Value::Good(both)));
    assert_eq!(bits(&[&alarmed, &inverter]), Some(Value::Good(both)));
    // An input without an alarm says so; one that has no alarms says nothing.
    let quiet = ports(&[(0, 0, 5800, 0, 0), (0, 0, 5800, 0, u32::MAX)]);
    assert_eq!(bits(&[&quiet]), Some(Value::Good(0.0)));
    assert_eq!(bits(&[&ports(&[(0, 0, 5800, 0, u32::MAX)])]), None);
    assert_eq!(
        bits(&[&inverter, &quiet]),
        Some(Value::Good(f64::from(0x0410)))
    );
    // The same of model 160, for all its inputs and for one.
    let mut mppt = vec![160, 28, 0, 0, 0, 0, 0, 1 << 12, 1, 0xFFFF];
    mppt.extend([0; 20]);
    mppt[10 + 18] = 1 << 4;
    let fuse_and_test = f64::from(1 << 12 | 1 << 15);
    assert_eq!(bits(&[&mppt]), Some(Value::Good(fuse_and_test)));
}

#[test]
fn the_newer_numbering_of_states_is_translated() {
    let mut image = vec![0xFFFF; 123];
    image[..2].copy_from_slice(&[701, 153]);
    image[4] = 3; // RUNNING
    let state = value(&decode(701, &image), Spot::Device, Quantity::State);
    assert_eq!(state, Some(Value::Good(f64::from(State::Tracking as u8))));
    image[4] = 7; // STANDBY
    let state = value(&decode(701, &image), Spot::Device, Quantity::State);
    assert_eq!(state, Some(Value::Good(f64::from(State::Standby as u8))));
}

#[test]
fn floats_need_no_scale() {
    let mut image = vec![0x7FC0; 62];
    image[..2].copy_from_slice(&[113, 60]);
    image[22..24].copy_from_slice(&[0x45DA, 0xC800]); // 7001.0
    let values = decode(113, &image);
    let device = |quantity| value(&values, Spot::Device, quantity);
    assert_eq!(device(Quantity::AcPower), Some(Value::Good(7001.0)));
    assert_eq!(device(Quantity::Frequency), Some(Value::Missing));
}

#[test]
fn isolation_resistance_and_limit_by_hand() {
    let mut status = vec![0xFFFF; 46];
    status[..2].copy_from_slice(&[122, 44]);
    status[44..46].copy_from_slice(&[1520, 3]);
    let ris = value(
        &decode(122, &status),
        Spot::Device,
        Quantity::IsolationResistance,
    );
    assert_eq!(ris, Some(Value::Good(1_520_000.0)));

    let mut controls = vec![0xFFFF; 26];
    controls[..2].copy_from_slice(&[123, 24]);
    controls[5] = 600;
    controls[23] = 0xFFFF; // 60.0 %
    let limit = |image: &[u16]| value(&decode(123, image), Spot::Device, Quantity::PowerLimit);
    assert_eq!(
        limit(&controls),
        Some(Value::Missing),
        "switch not implemented"
    );
    controls[9] = 0;
    assert_eq!(limit(&controls), Some(Value::Good(1.0)), "not in force");
    controls[9] = 1;
    assert_eq!(limit(&controls), Some(Value::Good(0.6)));
}

#[test]
fn weather_by_hand() {
    let irradiance = [
        302, 10, 0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF, 0xFFFF, 801, 912, 95, 0xFFFF, 0,
    ];
    let values = decode(302, &irradiance);
    let weather = |quantity| value(&values, Spot::Device, quantity);
    // The first sensor has no value, the second has.
    assert_eq!(weather(Quantity::Ghi), Some(Value::Good(801.0)));
    assert_eq!(weather(Quantity::Poa), Some(Value::Good(912.0)));
    assert_eq!(weather(Quantity::Dhi), Some(Value::Good(95.0)));
    assert_eq!(weather(Quantity::Dni), Some(Value::Missing));

    let mut met = vec![0x8000; 13];
    met[..6].copy_from_slice(&[307, 11, (-35i16) as u16, 64, 0x8000, 3]);
    met[8] = 120;
    let values = decode(307, &met);
    let weather = |quantity| value(&values, Spot::Device, quantity);
    assert_eq!(weather(Quantity::AirTemperature), Some(Value::Good(-3.5)));
    assert_eq!(weather(Quantity::RelativeHumidity), Some(Value::Good(0.64)));
    assert_eq!(weather(Quantity::WindSpeed), Some(Value::Good(3.0)));
    assert_eq!(weather(Quantity::SnowDepth), Some(Value::Good(0.12)));

    let values = decode(303, &[303, 2, 512, 498]);
    let module = value(&values, Spot::Device, Quantity::ModuleTemperature);
    assert_eq!(module, Some(Value::Good(51.2)));
}

#[test]
fn names_come_as_text() {
    let mut image = ModelImage::new(1, 0).expect("known");
    image.text("SN", "SAMPLE-0001").expect("fits");
    let identity = Identity::decode(image.registers());
    assert_eq!(identity.serial.as_deref(), Some("SAMPLE-0001"));
    assert_eq!(identity.manufacturer, None);
}

const MODELS: [u16; 15] = [
    101, 102, 103, 111, 112, 113, 122, 123, 160, 302, 303, 307, 308, 701, 714,
];
const SCALED_AC: [(Quantity, f64, f64); 6] = [
    // Quantity, step of the model's scale, largest value that fits.
    (Quantity::AcPower, 1.0, 32_000.0),
    (Quantity::AcVoltageL3, 0.1, 6_000.0),
    (Quantity::AcCurrentL2, 0.01, 600.0),
    (Quantity::Frequency, 0.01, 99.0),
    (Quantity::HeatsinkTemperature, 0.1, 190.0),
    (Quantity::EnergyTotal, 1.0, 4e9),
];

proptest! {
    /// Whatever a device answers, values are finite or named as missing.
    #[test]
    fn no_image_makes_a_panic(
        which in 0..MODELS.len(),
        image in prop::collection::vec(any::<u16>(), 0..300),
        honest in any::<bool>(),
    ) {
        let mut image = image;
        if honest && image.len() > 1 {
            image[0] = MODELS[which];
            image[1] = image.len() as u16 - 2;
        }
        for decoded in decode(MODELS[which], &image) {
            if let Value::Good(number) | Value::OutOfRange(number) = decoded.value {
                prop_assert!(number.is_finite());
            }
        }
    }

    /// What the encoder puts in, the decoder takes out, to half a step of the scale.
    #[test]
    fn ac_values_go_there_and_back(which in 0..SCALED_AC.len(), share in 0.001..1.0f64) {
        let (quantity, step, largest) = SCALED_AC[which];
        let number = share * largest;
        let mut image = ModelImage::new(103, 0).expect("known");
        image.put(Spot::Device, quantity, number).expect("fits");
        let back = value(&decode(103, image.registers()), Spot::Device, quantity);
        let back = back.and_then(Value::good).expect("good");
        // Half a step, and the rounding of f64 on top.
        prop_assert!((back - number).abs() <= step * 0.500_001, "{number} became {back}");
        // A value on the grid comes back to the last bit.
        image.put(Spot::Device, quantity, back).expect("fits");
        let again = value(&decode(103, image.registers()), Spot::Device, quantity);
        prop_assert_eq!(again, Some(Value::Good(back)));
    }

    #[test]
    fn inputs_go_there_and_back(
        inputs in prop::collection::vec((0u32..6_000, 0u32..12_000), 1..9),
        exponent in -2i32..1,
    ) {
        let mut image = ModelImage::new(160, inputs.len()).expect("known");
        image.scale("DCA_SF", exponent).expect("fits");
        let amps: Vec<_> = inputs.iter().map(|i| times_ten_to(f64::from(i.0), exponent)).collect();
        let volts: Vec<_> = inputs.iter().map(|i| times_ten_to(f64::from(i.1), -1)).collect();
        for (n, (a, v)) in (1..).zip(amps.iter().zip(&volts)) {
            image.put(Spot::Input(n), Quantity::DcCurrent, *a).expect("fits");
            image.put(Spot::Input(n), Quantity::DcVoltage, *v).expect("fits");
        }
        let values = decode(160, image.registers());
        for (n, (a, v)) in (1..).zip(amps.iter().zip(&volts)) {
            let of_input = |quantity| value(&values, Spot::Input(n), quantity);
            prop_assert_eq!(of_input(Quantity::DcCurrent), Some(Value::Good(*a)));
            prop_assert_eq!(of_input(Quantity::DcVoltage), Some(Value::Good(*v)));
            prop_assert_eq!(of_input(Quantity::DcPower), Some(Value::Missing));
        }
    }
}

/// Every quantity of every model goes there and back, whatever its type and scale.
#[test]
fn every_point_of_the_table_goes_there_and_back() {
    for model in MODELS {
        let layout = layout(model).expect("in the table");
        for point in layout.fixed.iter().chain(&layout.block) {
            let Some(quantity) = point.quantity else {
                continue;
            };
            let mut image = ModelImage::new(model, 2).expect("known");
            for holder in layout
                .fixed
                .iter()
                .filter(|p| p.encoding == Encoding::Sunssf)
            {
                image.scale(&holder.name, 0).expect("an exponent");
            }
            let spot = match (quantity.scope(), layout.block.is_empty()) {
                (Scope::Input { .. }, false) => Spot::Input(2),
                (Scope::Input { .. }, true) => Spot::AllInputs,
                _ => Spot::Device,
            };
            // 1 is on every grid but those in millimetres, percent and tenths, where it is too.
            image.put(spot, quantity, 1.0).expect("fits");
            let back = value(&decode(model, image.registers()), spot, quantity);
            assert_eq!(back, Some(Value::Good(1.0)), "{model} {}", point.name);
        }
    }
}
