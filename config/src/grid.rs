//! Protection tables of supply rules, from the files in `config/grid/`.
//! Never in here: a limit; the files hold them, each with its source.

use analysis::plant::{EnterService, FrequencyLimit, GridLimits, VoltWattPoint, VoltageLimit};
use analysis::reading::{Frequency, Span, Voltage};
use serde::Deserialize;

macro_rules! embedded {
    ($($name:literal)*) => {
        /// Names that `grid_rules` of a site file may have, with the files' contents.
        const FILES: &[(&str, &str)] =
            &[$(($name, include_str!(concat!("../grid/", $name, ".toml"))),)*];
    };
}

embedded! {
    "au-a" "au-b" "au-c" "nz"
    "ieee1547-cat1" "ieee1547-cat2" "ieee1547-cat3"
    "en50549-1" "vde-4105"
}

/// Names that `grid_rules` of a site file may have.
pub fn names() -> impl Iterator<Item = &'static str> {
    FILES.iter().map(|(name, _)| *name)
}

/// One set of supply rules.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Rules {
    rules: String,
    nominal_voltage_v: f64,
    nominal_frequency_hz: f64,
    /// Whether the voltage limits are ratios of nominal voltage; otherwise they are volts.
    pub(crate) limits_are_ratios: bool,
    under_voltage: Vec<Limit>,
    over_voltage: Vec<Limit>,
    sustained_over_voltage: Option<f64>,
    under_frequency_hz: Vec<Limit>,
    over_frequency_hz: Vec<Limit>,
    /// Rising in voltage; empty where the rules give none.
    #[serde(default)]
    volt_watt: Vec<Point>,
    enter_service: Entry,
}

/// When an inverter may connect; voltages as the limits are, lowest and highest.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Entry {
    voltage: [f64; 2],
    frequency_hz: [f64; 2],
    delay_s: f64,
    ramp_s: f64,
}

/// A point of the volt-watt line; the power is a ratio of rated power.
#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Point {
    voltage: f64,
    power_ratio: f64,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
struct Limit {
    limit: f64,
    within_s: f64,
}

/// The rules with this name, and the name as it is kept.
pub(crate) fn rules(name: &str) -> Option<(&'static str, Rules)> {
    let (name, text) = FILES.iter().find(|(known, _)| *known == name)?;
    let rules = toml::from_str(text).expect("every embedded table is loaded by a test");
    Some((name, rules))
}

impl Rules {
    /// The limits in volts; `nominal_v` replaces the nominal voltage of the file, if given.
    pub(crate) fn limits(&self, nominal_v: Option<f64>) -> GridLimits {
        let nominal_v = nominal_v.unwrap_or(self.nominal_voltage_v);
        let volts = |limit: f64| match self.limits_are_ratios {
            true => Voltage::from_v(limit * nominal_v),
            false => Voltage::from_v(limit),
        };
        let voltage = |l: &Limit| VoltageLimit {
            limit: volts(l.limit),
            within: l.within(),
        };
        let frequency = |l: &Limit| FrequencyLimit {
            limit: Frequency::from_hz(l.limit),
            within: l.within(),
        };
        let point = |p: &Point| VoltWattPoint {
            voltage: volts(p.voltage),
            power_ratio: p.power_ratio,
        };
        GridLimits {
            rules: self.rules.clone(),
            nominal_voltage: Voltage::from_v(nominal_v),
            nominal_frequency: Frequency::from_hz(self.nominal_frequency_hz),
            under_voltage: self.under_voltage.iter().map(voltage).collect(),
            over_voltage: self.over_voltage.iter().map(voltage).collect(),
            sustained_over_voltage: self.sustained_over_voltage.map(volts),
            under_frequency: self.under_frequency_hz.iter().map(frequency).collect(),
            over_frequency: self.over_frequency_hz.iter().map(frequency).collect(),
            volt_watt: self.volt_watt.iter().map(point).collect(),
            enter_service: Some(self.enter_service.service(volts)),
        }
    }
}

impl Limit {
    fn within(&self) -> Span {
        seconds(self.within_s)
    }
}

impl Entry {
    fn service(&self, volts: impl Fn(f64) -> Voltage) -> EnterService {
        let [low_v, high_v] = self.voltage.map(volts);
        let [low_hz, high_hz] = self.frequency_hz.map(Frequency::from_hz);
        EnterService {
            voltage: (low_v, high_v),
            frequency: (low_hz, high_hz),
            delay: seconds(self.delay_s),
            // No rules here have one; an inverter may publish it.
            random: Span::ZERO,
            ramp: seconds(self.ramp_s),
        }
    }
}

fn seconds(s: f64) -> Span {
    Span::from_ms((s * 1000.0).round() as i64)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Every table encloses its nominal values, and its stages run from mild and slow to far and
    /// fast.
    #[test]
    fn every_embedded_table_loads_and_is_in_order() {
        for name in names() {
            let (_, rules) = rules(name).expect("named");
            let limits = rules.limits(None);
            let (v, f) = (limits.nominal_voltage.v(), limits.nominal_frequency.hz());
            let under_v = limits.under_voltage.iter().map(|l| (l.limit.v(), l.within));
            let over_v = limits.over_voltage.iter().map(|l| (l.limit.v(), l.within));
            let under_f = limits
                .under_frequency
                .iter()
                .map(|l| (l.limit.hz(), l.within));
            let over_f = limits
                .over_frequency
                .iter()
                .map(|l| (l.limit.hz(), l.within));
            assert_outwards(name, v, under_v.collect(), -1.0);
            assert_outwards(name, v, over_v.collect(), 1.0);
            assert_outwards(name, f, under_f.collect(), -1.0);
            assert_outwards(name, f, over_f.collect(), 1.0);
            if let Some(sustained) = limits.sustained_over_voltage {
                let over = limits.over_voltage[0].limit;
                assert!(sustained.v() > v && sustained.v() < over.v(), "{name}");
            }
        }
    }

    fn assert_outwards(name: &str, nominal: f64, stages: Vec<(f64, Span)>, sign: f64) {
        assert!(!stages.is_empty(), "{name}");
        assert!((stages[0].0 - nominal) * sign > 0.0, "{name}: {stages:?}");
        for pair in stages.windows(2) {
            assert!((pair[1].0 - pair[0].0) * sign > 0.0, "{name}: {stages:?}");
            assert!(pair[1].1 <= pair[0].1, "{name}: {stages:?}");
        }
        assert!(
            stages.iter().all(|(_, within)| *within > Span::ZERO),
            "{name}"
        );
    }

    /// An inverter that may connect is inside every limit, and nominal values are inside both ranges.
    #[test]
    fn where_an_inverter_may_connect_no_limit_is_passed() {
        for name in names() {
            let (_, rules) = rules(name).expect("named");
            let limits = rules.limits(None);
            let entry = limits.enter_service.expect("every table has it");
            let (low, high) = entry.voltage;
            let highest = limits.sustained_over_voltage.map_or(f64::MAX, |v| v.v());
            assert!(low.v() >= limits.under_voltage[0].limit.v(), "{name}");
            assert!(
                high.v() <= highest.min(limits.over_voltage[0].limit.v()),
                "{name}"
            );
            let (low, high) = entry.frequency;
            assert!(low.hz() >= limits.under_frequency[0].limit.hz(), "{name}");
            assert!(high.hz() <= limits.over_frequency[0].limit.hz(), "{name}");
            let nominal = limits.nominal_voltage.v();
            let is_good = entry.is_good(
                Some((nominal, nominal)),
                Some(limits.nominal_frequency.hz()),
            );
            assert_eq!(is_good, Some(true), "{name}");
            assert!(
                entry.delay >= Span::from_s(60) && entry.ramp > entry.delay.half(),
                "{name}"
            );
        }
    }

    /// Upper frequencies of connection: the regional settings of equipment for AS/NZS 4777.2:2020.
    /// Minute and five minutes: from memory, verify.
    #[test]
    fn delays_and_upper_frequencies_of_connection() {
        let wanted = [
            ("au-a", 50.15, 60),
            ("au-b", 50.15, 60),
            ("au-c", 50.5, 60),
            ("nz", 50.15, 60),
            ("ieee1547-cat2", 60.1, 300),
            ("vde-4105", 50.1, 60),
        ];
        for (name, hz, delay_s) in wanted {
            let (_, rules) = rules(name).expect("named");
            let entry = rules
                .limits(None)
                .enter_service
                .expect("every table has it");
            assert_eq!(entry.frequency.1.hz(), hz, "{name}");
            assert_eq!(entry.delay, Span::from_s(delay_s), "{name}");
        }
    }

    /// The lines of the tables, region by region, and none where no number is at hand.
    #[test]
    fn volt_watt_lines_run_from_all_power_to_a_fifth() {
        let lines = [
            ("au-a", 253.0, 260.0),
            ("au-b", 250.0, 260.0),
            ("au-c", 253.0, 260.0),
            ("nz", 242.0, 250.0),
        ];
        for name in names() {
            let (_, rules) = rules(name).expect("named");
            let limits = rules.limits(None);
            let line = limits.volt_watt.iter();
            let line: Vec<_> = line.map(|p| (p.voltage.v(), p.power_ratio)).collect();
            match lines.iter().find(|(with, ..)| *with == name) {
                Some(&(_, from, to)) => assert_eq!(line, [(from, 1.0), (to, 0.2)], "{name}"),
                None => assert!(line.is_empty(), "{name}"),
            }
        }
    }

    #[test]
    fn ratios_follow_the_nominal_voltage_of_the_site() {
        let (_, rules) = rules("ieee1547-cat3").expect("named");
        // IEEE 1547-2018, category III: OV2 1.20 pu, UV1 0.88 pu.
        let at_277 = rules.limits(Some(277.0));
        assert_eq!(at_277.over_voltage[1].limit.v(), 1.2 * 277.0);
        assert_eq!(at_277.under_voltage[0].limit.v(), 0.88 * 277.0);
    }
}
