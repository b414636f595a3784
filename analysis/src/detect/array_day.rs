//! What the valid slots of one day say of an input's current and voltage, freed from what its plane
//! shares.
//!
//! Model:   the day's current and voltage are medians of ln (measured / expected by the datasheet); the
//!          voltage's of the brighter half of the bright slots (`expected::bright`).
//!          Where the tracker holds the peak, what takes voltage (a lost section, warm cells) moves the
//!          peak and leaves its current: so the current is held against that at the peak, freed from
//!          the tracker's own way round it. At any peak d ln I / d ln V = -1; with v the measured over
//!          the expected peak voltage
//!          i = I / I_peak / (1 - (ln v - median ln v))                                    eq. (1)
//!          Where it holds the input away from the peak, the points lie on the healthy curve instead,
//!          nearer to it than to the peak's current. Then
//!          i = I / I_curve(V)                                                             eq. (2)
//!          and the voltage says where the tracker stands and nothing of the array: the day has none.
//!          s^2 = pi/2 s_own^2 / (n/2) + s_common^2 + s_day^2: medians scatter more than means,
//!          neighbouring slots share half of their errors, and no two days are alike.
//!          How the missing voltage d goes with the voltage V and the current I stays as sums.
//! Symbols: V [V], I [A], ratios and standard deviations [-].
//! Range:   an hour of valid light for the current, an hour above 400 W/m2 for the voltage.
//! Source:  own. Scatter from day to day: engineering judgement, replaced by the input's own
//!          (`array_watch`).
//! Check:   unit tests below; tests/acceptance/engine/array.rs.

use crate::expected::{BRIGHT_POA_W_M2, brighter_half};
use crate::reading::{SolarDay, Span, Time, median};
use serde::{Deserialize, Serialize};

/// Valid light that a day needs [h].
const MIN_LIGHT_H: f64 = 1.0;
/// Own standard deviation above which a current is too rough [-].
const MAX_OWN_RATIO: f64 = 0.06;
/// Share of independent evidence in neighbouring slots [-].
const INDEPENDENT: f64 = 0.5;
/// How far the healthy curve must lead from the peak's current, up on the left and down on the right,
/// before it is asked whether the points lie on it; on the right cells that are 4 K colder than they
/// are thought to be go as far [-].
const LEFT_RATIO: f64 = 0.015;
const RIGHT_RATIO: f64 = 0.03;
/// Scatter from one day to the next, of the current and of the voltage [-].
const CURRENT_DAY_RATIO: f64 = 0.004;
const VOLTAGE_DAY_RATIO: f64 = 0.0015;

/// One valid slot of an input.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArraySample {
    /// Start of the slot.
    pub start: Time,
    /// Irradiance in the plane [W/m2].
    pub poa_w_m2: f64,
    /// Measured current over that at the expected peak, over what the plane's inputs share [-].
    pub current_over_peak: f64,
    /// The healthy curve's current at the measured voltage, over that at the peak [-].
    pub curve_over_peak: f64,
    /// Standard deviations of the current ratio: its own, and of what is shared [-].
    pub current_sigma: (f64, f64),
    /// Whether the current says anything: a lone input in its own light does not.
    pub shows_current: bool,
    /// Measured over expected peak voltage, over what the plane's inputs share [-].
    pub voltage_ratio: f64,
    /// Standard deviations of the voltage ratio: its own, and of what is shared [-].
    pub voltage_sigma: (f64, f64),
    /// What was learned of this input and stands in what is expected: current, voltage [-].
    pub gains: (f64, f64),
    /// Expected peak.
    pub expected_voltage_v: f64,
    /// Expected peak.
    pub expected_current_a: f64,
    /// Energy missing against expected in the slot that nothing was charged with [Wh].
    pub missing_wh: f64,
}

/// A sample as it waits for the end of the day; single precision is a thousandth of any error.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct Kept {
    current_over_peak: f32,
    curve_over_peak: f32,
    /// ln measured over expected peak voltage, over what is shared.
    voltage_ln: f32,
    current_sigma: (f32, f32),
    current_gain: f32,
    shows_current: bool,
    voltage: Option<KeptVoltage>,
    missing_wh: f32,
}

/// The part that only bright slots have.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
struct KeptVoltage {
    /// ln measured over expected by the datasheet.
    ln: f32,
    sigma: (f32, f32),
    volts: f32,
    amps: f32,
}

/// The day of one input so far.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize)]
pub struct ArrayToday {
    day: Option<(SolarDay, Time)>,
    samples: Vec<Kept>,
}

/// A day's value of one quantity.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct DayMedian {
    /// ln measured over expected by the datasheet.
    pub ln: f64,
    /// Its standard deviation.
    pub sigma: f64,
}

/// How the missing voltage d [V] of a day goes with expected voltage and current: sums over slots.
#[derive(Debug, Clone, Copy, Default, PartialEq, Serialize, Deserialize)]
pub struct VoltageSums {
    /// Slots.
    pub n: f64,
    /// V V [V2], V I [V A], I I [A2].
    pub vv: f64,
    /// See `vv`.
    pub vi: f64,
    /// See `vv`.
    pub ii: f64,
    /// d V [V2], d I [V A].
    pub dv: f64,
    /// See `dv`.
    pub di: f64,
    /// Own variance of d [V2].
    pub own: f64,
}

/// A day that has ended.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ArrayDay {
    /// First valid slot.
    pub began: Time,
    /// Of the current, where there was enough light.
    pub current: Option<DayMedian>,
    /// Of the voltage, where there was enough bright light.
    pub voltage: Option<DayMedian>,
    /// Of the same slots.
    pub sums: VoltageSums,
    /// Energy missing against expected on the day that nothing was charged with [Wh].
    pub missing_wh: f64,
}

impl ArrayToday {
    /// Takes a valid slot on which no outage stands.
    pub fn add(&mut self, day: SolarDay, sample: &ArraySample) {
        let has_voltage = sample.voltage_ratio > 0.0;
        if sample.current_sigma.0 > MAX_OWN_RATIO || !has_voltage {
            return;
        }
        if self.day.is_none_or(|(today, _)| today != day) {
            *self = Self {
                day: Some((day, sample.start)),
                samples: Vec::new(),
            };
        }
        self.samples.push(Kept::of(sample));
    }

    /// The day, if it has ended.
    pub fn close(&mut self, day: SolarDay, slot: Span) -> Option<ArrayDay> {
        let (today, _) = self.day?;
        if today >= day {
            return None;
        }
        let closed = self.so_far(slot);
        *self = Self::default();
        closed
    }

    /// The day as far as it has gone.
    pub fn so_far(&self, slot: Span) -> Option<ArrayDay> {
        let (_, began) = self.day?;
        let enough = |n: usize| n as f64 * slot.hours() >= MIN_LIGHT_H;
        let is_off_peak = is_off_peak(&self.samples);
        let voltages = self.samples.iter().filter_map(|s| s.voltage);
        let bright: Vec<KeptVoltage> = voltages.filter(|_| !is_off_peak).collect();
        let voltage = enough(bright.len()).then(|| voltage_of(&bright)).flatten();
        let showing: Vec<Kept> = self
            .samples
            .iter()
            .filter(|s| s.shows_current)
            .copied()
            .collect();
        let current = enough(showing.len())
            .then(|| current_of(&showing, is_off_peak))
            .flatten();
        Some(ArrayDay {
            began,
            current,
            voltage,
            sums: bright
                .iter()
                .fold(VoltageSums::default(), VoltageSums::with),
            missing_wh: self.samples.iter().map(|s| f64::from(s.missing_wh)).sum(),
        })
    }
}

impl Kept {
    fn of(sample: &ArraySample) -> Self {
        let single = |(a, b): (f64, f64)| (a as f32, b as f32);
        let voltage = || KeptVoltage {
            ln: (sample.voltage_ratio * sample.gains.1).ln() as f32,
            sigma: single(sample.voltage_sigma),
            volts: (sample.expected_voltage_v / sample.gains.1) as f32,
            amps: sample.expected_current_a as f32,
        };
        let is_bright = sample.poa_w_m2 >= BRIGHT_POA_W_M2;
        Self {
            current_over_peak: sample.current_over_peak as f32,
            curve_over_peak: sample.curve_over_peak as f32,
            voltage_ln: sample.voltage_ratio.ln() as f32,
            current_sigma: single(sample.current_sigma),
            current_gain: sample.gains.0 as f32,
            shows_current: sample.shows_current,
            voltage: is_bright.then(voltage),
            missing_wh: sample.missing_wh as f32,
        }
    }
}

/// Whether the points of a day lie on the healthy curve away from its peak.
fn is_off_peak(samples: &[Kept]) -> bool {
    let middle = |of: fn(&Kept) -> f32| median(samples.iter().map(|s| f64::from(of(s))));
    let both = middle(|s| s.curve_over_peak).zip(middle(|s| s.current_over_peak));
    let Some((curve, seen)) = both.map(|(curve, seen)| (curve - 1.0, seen - 1.0)) else {
        return false;
    };
    // Nearer to the curve than to the peak's current.
    (curve > LEFT_RATIO && seen > curve / 2.0) || (curve < -RIGHT_RATIO && seen < curve / 2.0)
}

fn voltage_of(bright: &[KeptVoltage]) -> Option<DayMedian> {
    let brighter = brighter_half(bright.to_vec(), |v| f64::from(v.amps));
    Some(DayMedian {
        ln: median(brighter.iter().map(|v| f64::from(v.ln)))?,
        sigma: day_sigma(brighter.iter().map(|v| v.sigma), VOLTAGE_DAY_RATIO),
    })
}

fn current_of(samples: &[Kept], is_off_peak: bool) -> Option<DayMedian> {
    let middle_ln = median(samples.iter().map(|s| f64::from(s.voltage_ln)))?;
    let ratio = |s: &Kept| {
        let over_peak = f64::from(s.current_over_peak * s.current_gain);
        if is_off_peak {
            return over_peak / f64::from(s.curve_over_peak); // eq. (2)
        }
        let along = 1.0 - (f64::from(s.voltage_ln) - middle_ln);
        over_peak / along.max(0.5) // eq. (1)
    };
    // What carries nothing has no logarithm; as far down as any fault of a day goes.
    const LEAST_RATIO: f64 = 1e-3;
    Some(DayMedian {
        ln: median(samples.iter().map(ratio))?.max(LEAST_RATIO).ln(),
        sigma: day_sigma(samples.iter().map(|s| s.current_sigma), CURRENT_DAY_RATIO),
    })
}

fn day_sigma(sigmas: impl ExactSizeIterator<Item = (f32, f32)>, day_ratio: f64) -> f64 {
    let n = sigmas.len() as f64;
    let (own, common) = sigmas.fold((0.0, 0.0), |sum, s| {
        (sum.0 + f64::from(s.0) / n, sum.1 + f64::from(s.1) / n)
    });
    let of_median = own * (std::f64::consts::FRAC_PI_2 / (INDEPENDENT * n)).sqrt();
    of_median.hypot(common).hypot(day_ratio)
}

impl VoltageSums {
    fn with(self, slot: &KeptVoltage) -> Self {
        let (v, i) = (f64::from(slot.volts), f64::from(slot.amps));
        let d = -f64::from(slot.ln) * v;
        Self {
            n: self.n + 1.0,
            vv: self.vv + v * v,
            vi: self.vi + v * i,
            ii: self.ii + i * i,
            dv: self.dv + d * v,
            di: self.di + d * i,
            own: self.own + (f64::from(slot.sigma.0) * v).powi(2),
        }
    }

    /// Both together.
    pub fn and(self, other: &Self) -> Self {
        Self {
            n: self.n + other.n,
            vv: self.vv + other.vv,
            vi: self.vi + other.vi,
            ii: self.ii + other.ii,
            dv: self.dv + other.dv,
            di: self.di + other.di,
            own: self.own + other.own,
        }
    }

    /// The same, with the voltage missing beside another voltage than the datasheet's: `ln` of it
    /// over the datasheet's.
    pub fn beside(self, ln: f64) -> Self {
        Self {
            dv: self.dv + ln * self.vv,
            di: self.di + ln * self.vi,
            ..self
        }
    }

    /// The voltage that is missing, over what is expected [-].
    pub fn loss_ratio(&self) -> f64 {
        self.dv / self.vv
    }

    /// Slots that are as good as independent.
    pub fn independent(&self) -> f64 {
        INDEPENDENT * self.n
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SLOT: Span = Span::from_min(5);

    fn sample(n: i64, voltage_ratio: f64, current_ratio: f64) -> ArraySample {
        ArraySample {
            start: Time::from_unix_ms(n * 300_000),
            poa_w_m2: 500.0 + 5.0 * n as f64,
            current_over_peak: current_ratio,
            curve_over_peak: 1.0,
            current_sigma: (0.006, 0.006),
            shows_current: true,
            voltage_ratio,
            voltage_sigma: (0.0055, 0.0),
            gains: (1.0, 1.0),
            expected_voltage_v: 500.0,
            expected_current_a: 5.0 + 0.05 * n as f64,
            missing_wh: 1.0,
        }
    }

    fn day(samples: impl Iterator<Item = ArraySample>) -> ArrayDay {
        let first = Time::from_unix_ms(0).solar_day(0.0);
        let mut today = ArrayToday::default();
        samples.for_each(|s| today.add(first, &s));
        let next = Time::from_unix_ms(86_400_000).solar_day(0.0);
        today.close(next, SLOT).expect("the day has ended")
    }

    #[test]
    fn a_lost_section_is_in_the_voltage_and_not_in_the_current() {
        // 5 % of the voltage gone; at that voltage the healthy curve carries some 3 % more, but the
        // peak has moved and its current has not.
        let lost = |n| ArraySample {
            curve_over_peak: 1.03,
            ..sample(n, 0.95, 1.0)
        };
        let day = day((0..60).map(lost));
        assert!((day.voltage.expect("bright").ln - 0.95f64.ln()).abs() < 1e-6);
        assert!(day.current.expect("light").ln.abs() < 1e-6);
    }

    #[test]
    fn a_tracker_that_holds_the_input_off_its_peak_takes_neither_voltage_nor_current() {
        // On the healthy curve, left and right of the peak; and with 8 % less current there.
        for (voltage, curve) in [(0.93, 1.04), (1.04, 0.93)] {
            for left in [1.0, 0.92] {
                let held = |n| ArraySample {
                    curve_over_peak: curve,
                    ..sample(n, voltage, curve * left)
                };
                let day = day((0..60).map(held));
                let current = day.current.expect("light").ln;
                if left < 1.0 && voltage < 1.0 {
                    // Less than the peak's: as well a section lost, and a smaller loss of current.
                    assert!((current - (curve * left).ln()).abs() < 1e-6, "{current}");
                    continue;
                }
                assert_eq!(day.voltage, None);
                assert!(
                    (current - f64::ln(left)).abs() < 1e-6,
                    "{voltage}: {current}"
                );
            }
        }
    }

    #[test]
    fn the_trackers_way_round_the_peak_is_taken_out() {
        let walking = |n: i64| {
            let off = 0.01 * (n % 3 - 1) as f64;
            sample(n, 0.98 * (1.0 + off), 0.96 * (1.0 - off))
        };
        let day = day((0..60).map(walking));
        assert!((day.current.expect("light").ln - 0.96f64.ln()).abs() < 1e-3);
    }

    #[test]
    fn what_was_learned_is_part_of_what_differs_from_the_datasheet() {
        let learned = |n| ArraySample {
            gains: (0.97, 0.99),
            ..sample(n, 1.0, 1.0)
        };
        let day = day((0..60).map(learned));
        assert!((day.voltage.expect("bright").ln - 0.99f64.ln()).abs() < 1e-6);
        assert!((day.current.expect("light").ln - 0.97f64.ln()).abs() < 1e-6);
    }

    #[test]
    fn a_dim_day_says_nothing_of_the_voltage_and_a_short_one_nothing_at_all() {
        let dim = |n| ArraySample {
            poa_w_m2: 300.0,
            ..sample(n, 0.9, 1.0)
        };
        let day_of_dim = day((0..60).map(dim));
        assert_eq!(day_of_dim.voltage, None);
        assert!(day_of_dim.current.is_some());
        let short = day((0..11).map(|n| sample(n, 0.9, 1.0)));
        assert_eq!((short.current, short.voltage), (None, None));
    }

    #[test]
    fn the_sums_tell_a_resistance_from_a_section() {
        let ohm = 2.0;
        let by_resistance = |n| {
            let healthy = sample(n, 1.0, 1.0);
            let ratio = (-ohm * healthy.expected_current_a / 500.0).exp();
            sample(n, ratio, 1.0)
        };
        let sums = day((0..60).map(by_resistance)).sums;
        // The normal equations of d = a V + R I.
        let determinant = sums.vv * sums.ii - sums.vi * sums.vi;
        let a = (sums.dv * sums.ii - sums.di * sums.vi) / determinant;
        let r = (sums.di * sums.vv - sums.dv * sums.vi) / determinant;
        assert!(a.abs() < 1e-4 && (r - ohm).abs() < 1e-2, "{a} {r}");
    }
}
