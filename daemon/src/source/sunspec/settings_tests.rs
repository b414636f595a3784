//! Hand-built images; register layouts typed from the SunSpec model definition files.

use super::*;

const NO_U16: u16 = 0xFFFF;

/// Model 708 with two curves of three corners: V_SF -2, Tms_SF -2; the must-trip curve of the first is
/// 110 % 13 s, 120 % 0.16 s (IEEE 1547-2018, category III).
fn trip_high() -> Vec<u16> {
    let mut image = vec![708, 0, 1, 0, 1, 3, 2, (-2_i16) as u16, (-2_i16) as u16];
    for percent in [11_000_u16, 11_500] {
        image.push(1);
        let must_trip = [2, percent, 0, 1300, 12_000, 0, 16, NO_U16, NO_U16, NO_U16];
        image.extend(must_trip);
        // May-trip and momentary cessation: others, which are no limits.
        for _ in 0..2 {
            image.extend([
                1, 10_500, 0, 100, NO_U16, NO_U16, NO_U16, NO_U16, NO_U16, NO_U16,
            ]);
        }
    }
    image[1] = (image.len() - 2) as u16;
    image
}

fn over_voltage(image: &[u16]) -> Option<Curve> {
    settings([(708, image)]).over_voltage
}

#[test]
fn the_must_trip_corners_of_the_first_curve_are_read() {
    let wanted = Curve::On(vec![(1.1, 13.0), (1.2, 0.16)]);
    assert_eq!(over_voltage(&trip_high()), Some(wanted));
}

#[test]
fn a_disabled_curve_is_off_and_what_is_not_there_is_none() {
    let with = |at: usize, word: u16| {
        let mut image = trip_high();
        image[at] = word;
        over_voltage(&image)
    };
    assert_eq!(with(2, 0), Some(Curve::Off));
    // Ena, NPt, NCrvSet, V_SF, Tms_SF, ActPt, V, and both words of Tms not implemented.
    for at in [2, 5, 6, 10, 11, 14] {
        assert_eq!(with(at, NO_U16), None, "register {at}");
    }
    for at in [7, 8] {
        assert_eq!(with(at, 0x8000), None, "exponent {at}");
    }
    let mut time = trip_high();
    (time[12], time[13]) = (NO_U16, NO_U16);
    assert_eq!(over_voltage(&time), None);
    // No corner in force, more than there are, no curve stored.
    assert_eq!(with(10, 0), None);
    assert_eq!(with(10, 4), None);
    assert_eq!(with(6, 0), None);
}

#[test]
fn an_image_that_ends_early_makes_no_curve_and_no_panic() {
    let image = trip_high();
    for length in 0..image.len() {
        let is_whole = length >= 11 + 2 * 3;
        let curve = over_voltage(&image[..length]);
        assert_eq!(curve.is_some(), is_whole, "{length}");
    }
}

/// Frequencies have two words: HF 62.0 Hz 0.16 s (table 18), Hz_SF -2, Tms_SF -2.
#[test]
fn corners_of_frequency_have_four_registers() {
    let scale = (-2_i16) as u16;
    let image = [
        710, 16, 1, 0, 1, 2, 1, scale, scale, 0, 1, 0, 6200, 0, 16, 0, 0, 0, 0,
    ];
    let found = settings([(710, &image[..])]).over_frequency;
    assert_eq!(found, Some(Curve::On(vec![(62.0, 0.16)])));
}

#[test]
fn a_volt_watt_line_of_available_power_is_not_ours() {
    let (v, w) = ((-1_i16) as u16, 0);
    let image = |of: u16| {
        let mut image = vec![706, 22, 1, 0, 1, 2, 1, 0, 0, 0, 0, NO_U16, v, w, 0];
        image.extend([2, of, 0, 10, 1, 1100, 100, 1130, 20]);
        image
    };
    let found = |of| settings([(706, &image(of)[..])]).volt_watt;
    assert_eq!(found(0), Some(Curve::On(vec![(1.1, 1.0), (1.13, 0.2)])));
    assert_eq!(found(1), None);
}

#[test]
fn enter_service_is_read_part_by_part() {
    let image = [
        703,
        17,
        1,
        1050,
        NO_U16,
        0,
        6010,
        NO_U16,
        NO_U16,
        0,
        300,
        0,
        30,
        NO_U16,
        NO_U16,
        0,
        0,
        (-1_i16) as u16,
        (-2_i16) as u16,
    ];
    let found = settings([(703, &image[..])]).enter_service;
    assert_eq!(found.high_voltage_ratio, Some(1.05));
    assert_eq!((found.low_voltage_ratio, found.low_hz), (None, None));
    assert_eq!(found.high_hz, Some(60.1));
    assert_eq!((found.delay_s, found.random_s), (Some(300.0), Some(30.0)));
    assert_eq!(found.ramp_s, None);
}
