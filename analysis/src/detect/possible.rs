//! What the values of a plant's channels can be at all, given what is on its datasheets.
//!
//! Model:   input voltage  [-0.05, 1.25] N Voc (1 + b (T_cold - 25));  current  [-0.2, 2.5] sum Isc;
//!          power          [-0.1, 2.5] sum N Pmp;  string current  [-1.5, 2.5] sum Isc of its input
//!          AC power       -+1.5 of the larger of rated and apparent power; phases up to 1.6 nominal
//!          frequency      none, or 0.8 to 1.2 nominal; temperatures, wind and light by limits below
//!          sentinel       65535, 32767, -32768 and tenths of them, on quantities that cannot rest there
//! Symbols: N modules in series, Voc, Isc, Pmp of the datasheet, b [1/K], T_cold [degC]
//! Range:   every channel of a plant; margins leave room for edges of clouds, for a plant that is wired
//!          otherwise than described (`string_count_differs`) and for meters.
//! Source:  physics of the one-diode model; margins are engineering judgement. Sentinels: what 16-bit
//!          registers hold where a device has no value (common practice).
//! Check:   tests below; tests/acceptance/engine/measuring.rs.

use crate::plant::{Input, Inverter, Plant};
use crate::reading::{Channel, Place, Quantity};

/// Colder than any module at first light, where the site file says nothing [degC].
const COLDEST_DEGC: f64 = -40.0;
const STC_DEGC: f64 = 25.0;
/// Margins, over what the datasheets give [-].
const VOLTAGE_RATIO: (f64, f64) = (-0.05, 1.25);
const CURRENT_RATIO: (f64, f64) = (-0.2, 2.5);
const POWER_RATIO: (f64, f64) = (-0.1, 2.5);
const BACK_INTO_STRING_RATIO: f64 = -1.5;
const AC_POWER_RATIO: f64 = 1.5;
const AC_CURRENT_RATIO: f64 = 2.0;
const PHASE_RATIO: f64 = 1.6;
const FREQUENCY_RATIO: (f64, f64) = (0.8, 1.2);
/// A frequency up to this is that of no supply [Hz].
const NO_SUPPLY_HZ: f64 = 1.0;
/// What a meter shows of nothing: [A], [W].
const METER_A: f64 = 1.0;
const METER_W: f64 = 100.0;
/// Irradiance [W/m2]: under any night offset, over any edge of a cloud.
const LIGHT_W_M2: (f64, f64) = (-30.0, 1800.0);
/// Temperatures [degC]: air, back of a module, heat sink.
const AIR_DEGC: (f64, f64) = (-60.0, 60.0);
const BACK_DEGC: (f64, f64) = (-60.0, 120.0);
const HEATSINK_DEGC: (f64, f64) = (-60.0, 150.0);
/// Wind [m/s].
const WIND_M_S: (f64, f64) = (0.0, 75.0);
/// What 16-bit registers hold where there is no value, and the decimals that are cut off it.
const SENTINELS: [f64; 12] = with_decimals([65_535.0, 32_767.0, -32_768.0]);
const DECIMALS: [f64; 4] = [1.0, 10.0, 100.0, 1000.0];
const SAME_RATIO: f64 = 1e-9;

/// What the values of one channel can be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Possible {
    /// Lowest, in the unit of the quantity.
    pub low: f64,
    /// Highest.
    pub high: f64,
    /// Whether nothing at all is possible as well.
    or_nothing: bool,
    /// Whether a register's sentinel is no value here.
    has_sentinel: bool,
}

impl Possible {
    /// What a channel of this plant can show.
    pub fn of(plant: &Plant, channel: &Channel) -> Self {
        let quantity = channel.quantity;
        let (low, high) = quantity.possible_range();
        let inverter = plant.inverters.iter().find(|i| i.id == channel.device);
        let (plant_low, plant_high) = range(plant, inverter, channel).unwrap_or((low, high));
        Self {
            low: low.max(plant_low),
            high: high.min(plant_high),
            or_nothing: quantity == Quantity::Frequency,
            has_sentinel: !matches!(
                quantity,
                // Counters pass them, and the others are numbers of another kind.
                Quantity::EnergyTotal
                    | Quantity::State
                    | Quantity::EventBits
                    | Quantity::IsolationResistance
            ),
        }
    }

    /// Whether a value can be measured.
    pub fn holds(&self, value: f64) -> bool {
        let inside = value >= self.low && value <= self.high;
        let nothing = self.or_nothing && (0.0..=NO_SUPPLY_HZ).contains(&value);
        (inside || nothing) && !(self.has_sentinel && is_sentinel(value))
    }
}

/// Whether a value is what a 16-bit register holds where a device has none, with whatever decimals.
pub fn is_sentinel(value: f64) -> bool {
    let is_same = |sentinel: &f64| (value - sentinel).abs() <= SAME_RATIO * sentinel.abs();
    SENTINELS.iter().any(is_same)
}

const fn with_decimals(whole: [f64; 3]) -> [f64; 12] {
    let mut all = [0.0; 12];
    let mut n = 0;
    while n < all.len() {
        all[n] = whole[n / DECIMALS.len()] / DECIMALS[n % DECIMALS.len()];
        n += 1;
    }
    all
}

fn range(plant: &Plant, inverter: Option<&Inverter>, channel: &Channel) -> Option<(f64, f64)> {
    let of_input = |number: u8| inverter?.inputs.iter().find(|i| i.number == number);
    match (channel.quantity, channel.place) {
        (Quantity::DcVoltage, Place::Input(n)) => Some(scaled(
            VOLTAGE_RATIO,
            coldest_open_v(plant, of_input(n)?),
            0.0,
        )),
        (Quantity::DcCurrent, Place::Input(n)) => Some(scaled(
            CURRENT_RATIO,
            short_circuit_a(plant, of_input(n)?),
            METER_A,
        )),
        (Quantity::DcCurrent, Place::String(n, _)) => {
            let ratios = (BACK_INTO_STRING_RATIO, CURRENT_RATIO.1);
            Some(scaled(
                ratios,
                short_circuit_a(plant, of_input(n)?),
                METER_A,
            ))
        }
        (Quantity::DcPower, Place::Input(n)) => Some(scaled(
            POWER_RATIO,
            plant.input_rated(of_input(n)?).w(),
            METER_W,
        )),
        (quantity, Place::Device) => of_device(plant, inverter, quantity),
        _ => None,
    }
}

fn of_device(plant: &Plant, inverter: Option<&Inverter>, quantity: Quantity) -> Option<(f64, f64)> {
    let limits = &plant.site.grid_limits;
    let nominal_v = limits.nominal_voltage.v();
    match quantity {
        Quantity::AcPower | Quantity::AcReactivePower => {
            let most = most_va(inverter?);
            Some(scaled((-AC_POWER_RATIO, AC_POWER_RATIO), most, METER_W))
        }
        Quantity::AcVoltageL1 | Quantity::AcVoltageL2 | Quantity::AcVoltageL3 => {
            Some((0.0, PHASE_RATIO * nominal_v))
        }
        Quantity::AcCurrentL1 | Quantity::AcCurrentL2 | Quantity::AcCurrentL3 => {
            let inverter = inverter?;
            let rated_a = most_va(inverter) / f64::from(inverter.phases.max(1)) / nominal_v;
            Some(scaled(
                (-AC_CURRENT_RATIO, AC_CURRENT_RATIO),
                rated_a,
                METER_A,
            ))
        }
        Quantity::Frequency => Some(scaled(FREQUENCY_RATIO, limits.nominal_frequency.hz(), 0.0)),
        Quantity::HeatsinkTemperature => Some(HEATSINK_DEGC),
        Quantity::AirTemperature => Some(AIR_DEGC),
        Quantity::ModuleTemperature => Some(BACK_DEGC),
        Quantity::Poa | Quantity::Ghi | Quantity::Dni | Quantity::Dhi => Some(LIGHT_W_M2),
        Quantity::WindSpeed => Some(WIND_M_S),
        _ => None,
    }
}

fn scaled((low, high): (f64, f64), by: f64, meter: f64) -> (f64, f64) {
    (low * by - meter, high * by + meter)
}

fn most_va(inverter: &Inverter) -> f64 {
    inverter.max_apparent.va().max(inverter.rated_ac.w())
}

/// Open-circuit voltage of the longest string at the coldest [V].
fn coldest_open_v(plant: &Plant, input: &Input) -> f64 {
    let coldest = plant.site.design_coldest.map_or(COLDEST_DEGC, |t| t.degc());
    let volts = |string: &crate::plant::PvString| {
        let module = &plant.modules[string.module];
        let colder = 1.0 + module.voc_temp_ratio_per_k * (coldest.min(COLDEST_DEGC) - STC_DEGC);
        f64::from(string.count) * module.voc.v() * colder
    };
    input.strings.iter().map(volts).fold(0.0, f64::max)
}

fn short_circuit_a(plant: &Plant, input: &Input) -> f64 {
    let strings = input.strings.iter();
    strings.map(|s| plant.modules[s.module].isc.a()).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    const FREQUENCY: Possible = Possible {
        low: 40.0,
        high: 60.0,
        or_nothing: true,
        has_sentinel: true,
    };

    #[test]
    fn no_supply_has_no_frequency_and_a_tenth_of_it_is_a_wrong_scale() {
        assert!(FREQUENCY.holds(49.98) && FREQUENCY.holds(0.0));
        assert!(!FREQUENCY.holds(5.0) && !FREQUENCY.holds(499.8));
    }

    #[test]
    fn sentinels_are_no_values_with_whatever_decimals_and_counters_pass_them() {
        let wide = Possible {
            low: -1e6,
            high: 1e6,
            ..FREQUENCY
        };
        for sentinel in [65_535.0, 6553.5, 655.35, 32.767, -3276.8, 65_535.0 * 0.1] {
            assert!(!wide.holds(sentinel), "{sentinel}");
        }
        assert!(wide.holds(6553.4) && wide.holds(65_534.0));
        let counter = Possible {
            has_sentinel: false,
            ..wide
        };
        assert!(counter.holds(65_535.0));
    }
}
