//! What is wrong with the measuring itself, in words and numbers: values that cannot be or stand still,
//! clocks, sensors.
//!
//! The shares of the causes and the confidence are engineering judgement: what to look for first and
//! nothing more.
//! Never in here: decisions.

use super::{causes, evidence, place};
use crate::detect::{
    ClockOff, Frozen, ImpossibleValue, Kind, SensorFault, Shift, ShownBy, is_sentinel,
};
use crate::diagnose::measured::measured;
use crate::diagnose::{NewFinding, Subject};
use crate::reading::{Channel, DeviceId, Energy, Time};

/// How far an offset may be from a full or a half hour to be one [min].
const AN_HOUR_WITHIN_MIN: f64 = 5.0;
/// How far a zone may be from the sun's time [min].
const ZONE_WITHIN_MIN: f64 = 100.0;

fn new(
    subject: Subject,
    kind: Kind,
    (began, found): (Time, Time),
    ranked: &[(&str, f64)],
    summary: String,
) -> NewFinding {
    NewFinding {
        subject,
        kind,
        began,
        found,
        confidence: measured(kind),
        causes: causes(ranked),
        evidence: evidence(&[]),
        lost: Energy::from_wh(0.0),
        summary,
    }
}

/// Values that cannot be, on an input or on a device as a whole.
pub fn value_impossible(
    subject: Subject,
    when: (Time, Time),
    channel: &Channel,
    seen: &ImpossibleValue,
) -> NewFinding {
    const SCALE: &str = "scale, word order or sign of a register read wrong";
    const NO_VALUE: &str = "device publishes a number where it has no value";
    const BROKEN: &str = "sensor or its cable broken";
    let (ranked, summary) = if is_sentinel(seen.value) {
        let summary = format!(
            "{channel} shows {}, the number that registers hold where there is no value. Such values \
             are left out.",
            exact(seen.value)
        );
        ([(NO_VALUE, 0.7), (BROKEN, 0.2), (SCALE, 0.1)], summary)
    } else {
        let summary = format!(
            "{channel} shows {}, which cannot be: {} to {} can. Such values are left out.",
            rounded(seen.value),
            rounded(seen.possible.0),
            rounded(seen.possible.1)
        );
        ([(SCALE, 0.4), (NO_VALUE, 0.3), (BROKEN, 0.3)], summary)
    };
    let finding = new(subject, Kind::ValueImpossible, when, &ranked, summary);
    let unit = unit(channel);
    NewFinding {
        evidence: [
            (format!("shown_{unit}"), seen.value),
            (format!("lowest_possible_{unit}"), seen.possible.0),
            (format!("highest_possible_{unit}"), seen.possible.1),
        ]
        .into(),
        ..finding
    }
}

/// What stands still.
#[derive(Debug, Clone, Copy)]
pub enum Still<'c> {
    /// Everything that a device publishes.
    Device,
    /// Voltage and current of the input of this number, while the rest of its device moves.
    Input(u8),
    /// One sensor.
    Sensor(&'c Channel),
}

/// Values that stand still.
pub fn value_frozen(
    device: &DeviceId,
    what: Still<'_>,
    (began, found): (Time, Time),
    seen: &Frozen,
) -> NewFinding {
    let ranked: &[(&str, f64)] = match what {
        Still::Sensor(_) => &[
            ("sensor or its converter stuck", 0.6),
            ("data logger repeats its last values", 0.4),
        ],
        Still::Device => &[
            (
                "data logger or network interface repeats its last values",
                0.8,
            ),
            ("device's measuring part stopped", 0.2),
        ],
        Still::Input(_) => &[
            ("measuring part of this input stopped", 0.6),
            (
                "data logger or network interface repeats this input's last values",
                0.4,
            ),
        ],
    };
    let subject = match what {
        Still::Input(number) => Subject::input(device, number),
        Still::Device | Still::Sensor(_) => Subject::device(device),
    };
    let summary = match what {
        Still::Sensor(channel) => format!(
            "{channel} has stood at one number in daylight; it is not believed, and other sensors or \
             the array itself show the light and heat instead."
        ),
        Still::Device => format!(
            "All {} values of {device} have stood still while it is at work; what it does is not known.",
            seen.values
        ),
        Still::Input(_) => format!(
            "Voltage and current of {} have stood still while the rest of {device} moves; what this \
             input does is not known.",
            place(&subject)
        ),
    };
    let finding = new(subject, Kind::ValueFrozen, (began, found), ranked, summary);
    NewFinding {
        evidence: evidence(&[
            ("stood_still_s", (found - began).seconds()),
            ("longest_before_s", seen.longest.seconds()),
            ("values_count", seen.values as f64),
        ]),
        ..finding
    }
}

/// Stamps that do not fit the sun; `others`: devices that are off by as much.
pub fn clock_off(
    device: &DeviceId,
    others: usize,
    when: (Time, Time),
    longitude_deg: f64,
    seen: &ClockOff,
) -> NewFinding {
    let minutes = seen.offset.minutes;
    let (likely, share) = clock_cause(minutes, seen.offset.sigma, longitude_deg);
    let ahead = if minutes > 0.0 { "ahead of" } else { "behind" };
    let with = match others {
        0 => String::new(),
        n => format!(" and of {n} more"),
    };
    let (beside, counted) = match seen.by {
        ShownBy::ClearDays => ("the sun", "clear_days_count"),
        ShownBy::Nights => ("what they were", "nights_count"),
    };
    let summary = format!(
        "Times of {device}{with} are {:.0} min {ahead} {beside} (give or take {:.0} min): most likely {likely}.",
        minutes.abs(),
        2.0 * seen.offset.sigma
    );
    let ranked = [
        (likely, share),
        ("clock set wrong or running away", 1.0 - share),
    ];
    let ranked = if likely == ranked[1].0 {
        &ranked[..1]
    } else {
        &ranked
    };
    let finding = new(
        Subject::device(device),
        Kind::ClockOff,
        when,
        ranked,
        summary,
    );
    NewFinding {
        evidence: evidence(&[
            ("offset_min", minutes),
            ("offset_sigma_min", seen.offset.sigma),
            (counted, seen.days as f64),
            ("devices_count", (others + 1) as f64),
        ]),
        ..finding
    }
}

fn clock_cause(minutes: f64, sigma: f64, longitude_deg: f64) -> (&'static str, f64) {
    let within = AN_HOUR_WITHIN_MIN.max(2.0 * sigma);
    let near = |of: f64| (minutes.abs() - of).abs() <= within;
    let hours = (minutes / 60.0).round();
    let is_full = (minutes - 60.0 * hours).abs() <= within;
    let by_sun_min = longitude_deg.abs() / 15.0 * 60.0;
    if near(60.0) {
        ("daylight saving time", 0.8)
    } else if near(30.0) {
        ("a time zone that is half an hour off", 0.7)
    } else if is_full && hours.abs() > 1.0 && (minutes.abs() - by_sun_min).abs() <= ZONE_WITHIN_MIN
    {
        ("UTC and local time mixed up", 0.8)
    } else if is_full && hours.abs() > 1.0 {
        ("another time zone", 0.7)
    } else {
        ("clock set wrong or running away", 1.0)
    }
}

/// A light sensor that the inputs contradict for days.
pub fn sensor_wrong(
    channel: &Channel,
    fault: SensorFault,
    when: (Time, Time),
    seen: &Shift,
) -> NewFinding {
    let error_ratio = sensor_error_ratio(fault, seen.size);
    let percent = 100.0 * error_ratio;
    let (what, ranked): (String, &[(&str, f64)]) = match fault {
        SensorFault::Low => (
            format!("shows {percent:.0} % less than the inputs get"),
            &[
                ("sensor dirty", 0.4),
                ("calibration or scale wrong", 0.4),
                ("sensor not in the plane that is stated", 0.2),
            ],
        ),
        SensorFault::Falling => (
            format!(
                "shows {percent:.0} % less than it did, beside the inputs and beside a clear sky"
            ),
            &[("sensor dirty", 0.7), ("calibration drifting", 0.3)],
        ),
        SensorFault::High => (
            format!(
                "shows {percent:.0} % more than it did, beside the inputs and beside a clear sky"
            ),
            &[
                ("calibration or scale changed", 0.6),
                ("light reflected onto the sensor", 0.4),
            ],
        ),
        SensorFault::Over => (
            format!("shows {percent:.0} % more than the inputs and a clear sky give"),
            &[
                ("calibration or scale wrong", 0.7),
                ("light reflected onto the sensor", 0.3),
            ],
        ),
        SensorFault::Skewed => (
            format!(
                "has changed by {percent:.0} % between morning and afternoon, beside the inputs and \
                 beside a clear sky"
            ),
            &[
                ("sensor no longer level with its plane", 0.9),
                ("shade on the sensor", 0.1),
            ],
        ),
        SensorFault::Shaded => (
            format!("is {percent:.0} % low for half an hour or more of clear days"),
            &[
                ("shade on the sensor", 0.9),
                ("shade on everything but these inputs", 0.1),
            ],
        ),
    };
    let subject = Subject::device(&channel.device);
    let summary = format!("{channel} {what}; it is not believed until it agrees again.");
    let finding = new(subject, Kind::SensorWrong, when, ranked, summary);
    NewFinding {
        evidence: evidence(&[
            ("sensor_error_ratio", error_ratio),
            ("sensor_error_sigma_ratio", seen.sigma),
            ("days_count", f64::from(seen.days)),
        ]),
        ..finding
    }
}

/// What the sensor shows too much, or too little, over what it should show. The size of a shift is ln
/// of what the inputs get over what the sensor shows, or of its inverse where it shows too much.
fn sensor_error_ratio(fault: SensorFault, size: f64) -> f64 {
    match fault {
        SensorFault::High | SensorFault::Over => size.exp_m1(),
        SensorFault::Low | SensorFault::Falling | SensorFault::Skewed | SensorFault::Shaded => {
            -(-size).exp_m1()
        }
    }
}

/// An irradiance sensor that shows next to nothing in daylight.
pub fn sensor_dark(channel: &Channel, when: (Time, Time)) -> NewFinding {
    let ranked = [
        ("sensor covered", 0.4),
        ("cable or converter of the sensor broken", 0.6),
    ];
    let summary = format!(
        "{channel} shows next to nothing while the array works in good light; it is not believed."
    );
    let subject = Subject::device(&channel.device);
    let finding = new(subject, Kind::SensorWrong, when, &ranked, summary);
    NewFinding {
        evidence: evidence(&[("contradicted_s", (when.1 - when.0).seconds())]),
        ..finding
    }
}

/// A sensor at the back of a module that does not follow the light.
pub fn back_sensor_wrong(channel: &Channel, when: (Time, Time), rise_ratio: f64) -> NewFinding {
    let ranked = if rise_ratio < 1.0 {
        [
            ("sensor has come off the back of its module", 0.8),
            ("scale of the sensor wrong", 0.2),
        ]
    } else {
        [
            ("scale of the sensor wrong", 0.6),
            ("air temperature measured wrong", 0.4),
        ]
    };
    let summary = format!(
        "{channel} rises {:.0} % of what light and wind make of it; heat is computed from the air instead.",
        100.0 * rise_ratio
    );
    let subject = Subject::device(&channel.device);
    let finding = new(subject, Kind::SensorWrong, when, &ranked, summary);
    NewFinding {
        evidence: evidence(&[("rise_over_model_ratio", rise_ratio)]),
        ..finding
    }
}

/// The unit that ends the name of a channel's quantity.
fn unit(channel: &Channel) -> &'static str {
    let name = channel.quantity.name();
    ["w_m2", "m_s"]
        .into_iter()
        .find(|unit| name.ends_with(&format!("_{unit}")))
        .or_else(|| name.rsplit('_').next())
        .unwrap_or(name)
}

/// For people: three digits are enough of what cannot be.
fn rounded(value: f64) -> String {
    if value.abs() >= 100.0 {
        format!("{value:.0}")
    } else {
        format!("{value:.1}")
    }
}

/// All digits of a number that a register holds, without what its scaling adds behind them.
fn exact(value: f64) -> String {
    let digits = format!("{value:.3}");
    digits
        .trim_end_matches('0')
        .trim_end_matches('.')
        .to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What is said of a plane sensor that shows so much of what it should.
    fn wrong(fault: SensorFault, shown_ratio: f64) -> NewFinding {
        let channel: Channel = "mast/poa_w_m2".parse().expect("an address");
        let at = Time::from_unix_ms(0);
        let seen = Shift {
            size: shown_ratio.ln().abs(),
            sigma: 0.01,
            days: 3,
        };
        sensor_wrong(&channel, fault, (at, at), &seen)
    }

    #[test]
    fn a_sensor_at_half_shows_half_less_and_one_at_double_as_much_more() {
        for (fault, shown_ratio, says, error_ratio) in [
            (SensorFault::Low, 0.5, "50 % less", 0.5),
            (SensorFault::Falling, 0.5, "50 % less", 0.5),
            (SensorFault::Shaded, 0.5, "50 % low", 0.5),
            (SensorFault::High, 2.0, "100 % more", 1.0),
        ] {
            let told = wrong(fault, shown_ratio);
            assert!(told.summary.contains(says), "{fault:?}: {}", told.summary);
            let error = told.evidence["sensor_error_ratio"];
            assert!((error - error_ratio).abs() < 1e-12, "{fault:?}: {error}");
        }
    }

    #[test]
    fn a_number_that_stands_for_no_value_is_said_to_be_one() {
        let said = |value: f64| {
            let channel: Channel = "inv-1/input-1/dc_voltage_v".parse().expect("an address");
            let at = Time::from_unix_ms(0);
            let seen = ImpossibleValue {
                channel: crate::reading::ChannelId(0),
                value,
                possible: (-50.0, 7000.0),
            };
            let subject = Subject::input(&channel.device, 1);
            value_impossible(subject, (at, at), &channel, &seen)
        };
        for (value, shown) in [
            (65_535.0, "65535"),
            (65_535.0 * 0.1, "6553.5"),
            (-32_768.0, "-32768"),
        ] {
            let told = said(value);
            let says =
                format!("shows {shown}, the number that registers hold where there is no value");
            assert!(told.summary.contains(&says), "{}", told.summary);
            assert!(told.causes[0].cause.contains("no value"), "{told:?}");
        }
        let told = said(8123.0);
        let says = "shows 8123, which cannot be: -50.0 to 7000 can";
        assert!(told.summary.contains(says), "{}", told.summary);
    }

    #[test]
    fn an_hour_is_daylight_saving_and_the_longitude_in_hours_is_a_zone() {
        assert_eq!(clock_cause(-58.0, 1.0, 150.0).0, "daylight saving time");
        assert_eq!(
            clock_cause(601.0, 1.0, 150.0).0,
            "UTC and local time mixed up"
        );
        assert_eq!(
            clock_cause(-30.5, 1.0, 138.0).0,
            "a time zone that is half an hour off"
        );
        assert_eq!(
            clock_cause(11.0, 1.0, 150.0).0,
            "clock set wrong or running away"
        );
    }
}
