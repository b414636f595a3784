//! Whether it is night for an inverter, so that it may be asked less often.
//!
//! Model:   night = the sun is well below the horizon, and the inverter shows neither voltage on an
//!          input nor power, or does not answer at all
//! Range:   inverters only; weather devices are read at night as by day.
//! Source:  own; a lit lamp or a bright moon gives a few volts and no power (common practice).
//! Check:   tests below.
//!
//! An inverter that still works (a battery behind it, a wrong site) is never asked less often: the
//! analysis expects its answers. Never in here: sleeping, or what silence means.

use analysis::plant::Plant;
use analysis::reading::{ChannelId, DeviceId, Quantity, Reading, Span, Time};
use analysis::sky::{Observer, sun_position};
use std::collections::BTreeSet;

/// Civil twilight: no inverter starts before it ends (sun's elevation, common definition).
const WELL_BELOW_DEG: f64 = -6.0;
/// Above this sun no inverter is off for want of light (sun's elevation, judgement: in the thickest
/// weather they stop and start with the sun a few degrees high).
const MAY_BE_OFF_DEG: f64 = 6.0;
/// From one look to the next whether the sun has been up meanwhile.
const LOOK_EVERY: Span = Span::from_min(30);
/// Share of the voltage at which the inverter starts, below which an input has none.
const NO_VOLTAGE_RATIO: f64 = 0.2;
/// Share of rated power below which the inverter makes none; it consumes a little by night.
const NO_POWER_RATIO: f64 = 0.002;

/// Remembers what one inverter showed last.
#[derive(Debug, Clone)]
pub struct Night {
    observer: Observer,
    voltages: BTreeSet<ChannelId>,
    power: Option<ChannelId>,
    no_voltage_v: f64,
    no_power_w: f64,
    is_dark: bool,
    every: Span,
}

impl Night {
    /// For an inverter of the plant; `every`: from one poll to the next in the night.
    pub fn of(plant: &Plant, device: &DeviceId, every: Span) -> Option<Self> {
        let inverter = plant
            .inverters
            .iter()
            .find(|inverter| &inverter.id == device)?;
        let site = &plant.site;
        let of = |wanted: Quantity| {
            let own = plant.channels.of(device);
            own.filter(move |(_, c)| c.quantity == wanted)
                .map(|(id, _)| id)
        };
        Some(Self {
            observer: Observer::new(site.latitude, site.longitude, site.altitude_m),
            voltages: of(Quantity::DcVoltage).collect(),
            power: of(Quantity::AcPower).next(),
            no_voltage_v: inverter.start_voltage.v() * NO_VOLTAGE_RATIO,
            no_power_w: inverter.rated_ac.w() * NO_POWER_RATIO,
            is_dark: false,
            every,
        })
    }

    /// What a poll has given; nothing where the inverter has not answered.
    pub fn saw(&mut self, readings: &[Reading]) {
        let is_light = |reading: &Reading| {
            let limit = match reading.channel {
                id if self.voltages.contains(&id) => self.no_voltage_v,
                id if self.power == Some(id) => self.no_power_w,
                _ => return false,
            };
            reading
                .value
                .good()
                .is_some_and(|value| value.abs() > limit)
        };
        self.is_dark = !readings.iter().any(is_light);
    }

    /// From one poll to the next where it is night, and `None` by day.
    pub fn every(&self, at: Time) -> Option<Span> {
        let elevation_deg = || sun_position(at, &self.observer).apparent_elevation_deg();
        (self.is_dark && elevation_deg() < WELL_BELOW_DEG).then_some(self.every)
    }

    /// Whether an inverter that was heard last at a time, if ever, may be off for want of light: the sun
    /// has been low ever since, and it was not at work in the night (a battery behind it).
    pub fn is_asleep(&self, heard: Option<Time>, now: Time) -> bool {
        let elevation_deg = |at| sun_position(at, &self.observer).apparent_elevation_deg();
        let is_low = |at: Time| elevation_deg(at) < MAY_BE_OFF_DEG;
        let Some(heard) = heard else {
            return is_low(now);
        };
        let worked = elevation_deg(heard) < WELL_BELOW_DEG && !self.is_dark;
        let between = std::iter::successors(Some(heard), |at| Some(*at + LOOK_EVERY));
        !worked && is_low(now) && between.take_while(|at| *at < now).all(is_low)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use analysis::reading::Value;
    use std::path::Path;

    const EVERY: Span = Span::from_min(1);
    /// Tasmania: 3 h UTC is early afternoon, 13 h UTC is near midnight.
    const NOON: Time = Time::from_unix_ms(1_782_010_800_000);
    const MIDNIGHT: Time = Time::from_unix_ms(1_782_046_800_000);

    fn plant() -> Plant {
        let site = Path::new(env!("CARGO_MANIFEST_DIR")).join("../config/sites/hillside-barn.toml");
        config::load(&site).expect("an example").plant
    }

    fn poll(plant: &Plant, values: &[(&str, f64)]) -> Vec<Reading> {
        let reading = |(name, value): &(&str, f64)| Reading {
            channel: plant
                .channels
                .id(&name.parse().expect("a channel"))
                .expect("known"),
            at: MIDNIGHT,
            value: Value::Good(*value),
        };
        values.iter().map(reading).collect()
    }

    #[test]
    fn night_is_dark_inputs_under_a_sun_that_is_down() {
        let plant = plant();
        let mut night = Night::of(&plant, &DeviceId::new("barn"), EVERY).expect("an inverter");
        assert_eq!(night.every(MIDNIGHT), None, "nothing has been seen yet");
        let dark = [
            ("barn/input-1/dc_voltage_v", 3.0),
            ("barn/ac_power_w", -12.0),
        ];
        night.saw(&poll(&plant, &dark));
        assert_eq!(night.every(MIDNIGHT), Some(EVERY));
        assert_eq!(
            night.every(NOON),
            None,
            "an array that is covered is asked as ever"
        );
    }

    #[test]
    fn an_inverter_with_voltage_or_power_is_asked_as_by_day() {
        let plant = plant();
        let mut night = Night::of(&plant, &DeviceId::new("barn"), EVERY).expect("an inverter");
        for light in [
            ("barn/input-2/dc_voltage_v", 400.0),
            ("barn/ac_power_w", 900.0),
        ] {
            night.saw(&poll(&plant, &[light]));
            assert_eq!(night.every(MIDNIGHT), None, "{light:?}");
        }
        night.saw(&[]);
        assert_eq!(
            night.every(MIDNIGHT),
            Some(EVERY),
            "switched off for the night"
        );
    }

    #[test]
    fn who_fell_silent_in_low_light_sleeps_until_the_sun_is_up() {
        let plant = plant();
        let mut night = Night::of(&plant, &DeviceId::new("barn"), EVERY).expect("an inverter");
        let hours = |n| MIDNIGHT + Span::from_h(n);
        // The shortest day: the sun is down from about 7 h UTC to 21 h UTC.
        let (dusk, dawn) = (hours(-6), hours(8));
        assert!(night.is_asleep(Some(dusk), MIDNIGHT));
        assert!(night.is_asleep(Some(dusk), dawn));
        assert!(night.is_asleep(None, MIDNIGHT), "started in the night");
        assert!(!night.is_asleep(None, NOON));
        assert!(!night.is_asleep(Some(NOON), MIDNIGHT), "silent since noon");
        assert!(!night.is_asleep(Some(dusk), hours(14)), "it should be up");
        assert!(!night.is_asleep(Some(dusk), hours(24)), "the night after");
        night.saw(&poll(&plant, &[("barn/ac_power_w", 900.0)]));
        let late = hours(-1);
        assert!(!night.is_asleep(Some(late), MIDNIGHT), "it was at work");
        assert!(
            night.is_asleep(Some(dusk), MIDNIGHT),
            "the last light of the day"
        );
    }

    #[test]
    fn a_weather_device_has_no_night() {
        assert!(Night::of(&plant(), &DeviceId::new("mast"), EVERY).is_none());
    }
}
