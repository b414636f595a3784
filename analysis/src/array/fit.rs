//! One-diode parameters from the values on a datasheet.
//!
//! Model:   five conditions at 25 degC, 1000 W/m2: (0, Isc), (Voc, 0) and (Vmp, Imp) on the curve,
//!          dP/dV = 0 at (Vmp, Imp), and Voc(T_ref + 2 K) - Voc = 2 K x beta.
//!          At fixed ideality n and series resistance R_s the first three are linear in I_0, I_L
//!          and G_sh, with w = (1 - exp(x_m - x_oc)) / (1 - exp(Isc R_s / a - x_oc)):
//!          G_sh = (Imp - w Isc) / (Voc - Vmp - Imp R_s - w (Voc - Isc R_s))            eq. (1)
//!          I_0 = (Isc - (Voc - Isc R_s) G_sh) / (exp(x_oc) - exp(Isc R_s / a))         eq. (2)
//!          What is left is one root in R_s (the peak) inside one root in n (beta).
//! Symbols: a = n N_s k T/q [V], x_m = (Vmp + Imp R_s) / a, x_oc = Voc / a, G_sh = 1/R_sh [S],
//!          beta [V/K].
//! Range:   n 0.9 to 1.5, R_s >= 0, G_sh >= 0. Where beta asks for an n outside, the nearest
//!          possible n is taken and `voc_temp_error_ratio_per_k` says what is left. Where the peak
//!          asks for a G_sh or R_s below zero at every n, `fit_at_edge` takes the nearest curve
//!          and `vmp_error_ratio` says what is left.
//! Source:  conditions: W. De Soto, S. Klein, W. Beckman, Solar Energy 80 (2006) 78; eqs. (1), (2)
//!          and the order of solving are own.
//! Check:   tests/reference/array.rs, five datasheets to the eighth digit that is stored, one of
//!          them published; random datasheets in `property_tests`.

use super::diode::{BOLTZMANN_EV_PER_K, REFERENCE_K, saturation_growth};
use super::fit_at_edge::nearest_at_edge;
use super::{Curve, ModuleModel};
use crate::plant::Module;
use thiserror::Error;

/// Bounds of the diode ideality of one cell.
const IDEALITY: (f64, f64) = (0.9, 1.5);
/// Steps over n and over R_s in which a change of sign is looked for.
const IDEALITY_STEPS: u32 = 60;
const SERIES_STEPS: u32 = 200;
/// Halvings of a bracket: 2^-60 of its width is below the last digit.
pub(super) const HALVINGS: u32 = 60;
/// Temperature step of the Voc condition [K].
const BETA_STEP_K: f64 = 2.0;

/// Why no one-diode curve passes through a datasheet's points.
#[derive(Debug, Clone, PartialEq, Error)]
pub enum FitError {
    /// The peak is not inside the short-circuit and open-circuit values.
    #[error(
        "found Vmp {vmp_v} V, Voc {voc_v} V, Imp {imp_a} A, Isc {isc_a} A, wanted 0 < Vmp < Voc \
         and 0 < Imp < Isc"
    )]
    Order {
        /// Vmp.
        vmp_v: f64,
        /// Voc.
        voc_v: f64,
        /// Imp.
        imp_a: f64,
        /// Isc.
        isc_a: f64,
    },
    /// A temperature coefficient is not a number.
    #[error("found coefficients of {isc_per_k} 1/K for Isc and {voc_per_k} 1/K for Voc")]
    Coefficients {
        /// Of Isc, over Isc.
        isc_per_k: f64,
        /// Of Voc, over Voc.
        voc_per_k: f64,
    },
    /// No diode ideality in range makes a curve with its peak there.
    #[error(
        "found a fill factor of {fill_factor:.3} with Vmp/Voc {voltage_ratio:.3} and Imp/Isc \
         {current_ratio:.3}: no one-diode curve of {cells_in_series} cells has its peak there"
    )]
    NoCurve {
        /// Vmp Imp / (Voc Isc).
        fill_factor: f64,
        /// Vmp / Voc.
        voltage_ratio: f64,
        /// Imp / Isc.
        current_ratio: f64,
        /// Cells in series.
        cells_in_series: u16,
    },
}

/// A fitted module.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FittedModule {
    /// Parameters.
    pub model: ModuleModel,
    /// Diode ideality of one cell.
    pub ideality: f64,
    /// Fitted minus given Voc temperature coefficient, over Voc [1/K]; zero but for rounding unless
    /// ideality, shunt or series resistance were held at a bound.
    pub voc_temp_error_ratio_per_k: f64,
    /// Fitted minus given Vmp, over Vmp; zero but for rounding unless shunt or series resistance
    /// were held at none, because the given peak asks for less. Vmp Imp is met all the same.
    pub vmp_error_ratio: f64,
}

/// Solution of the first four conditions at one ideality.
#[derive(Debug, Clone, Copy)]
pub(super) struct AtIdeality {
    a: f64,
    rs: f64,
    gsh: f64,
    i0: f64,
    il: f64,
    pub(super) beta_error: f64,
}

/// The values of a datasheet.
pub(super) struct Points {
    pub(super) vmp: f64,
    pub(super) imp: f64,
    pub(super) voc: f64,
    pub(super) isc: f64,
    alpha: f64,
    beta: f64,
    thermal_v: f64,
}

/// Fits the five parameters to a datasheet.
///
/// # Errors
/// If values are out of order or not numbers, or no one-diode curve has a peak of that power.
pub fn fit_datasheet(module: &Module) -> Result<FittedModule, FitError> {
    let points = Points::of(module)?;
    let best = points
        .best_ideality()
        .or_else(|| nearest_at_edge(&points))
        .ok_or_else(|| points.no_curve(module.cells_in_series))?;
    Ok(FittedModule {
        model: ModuleModel {
            photo_ref_a: best.il,
            saturation_ref_a: best.i0,
            series_ohm: best.rs,
            shunt_ref_ohm: best.gsh.recip(),
            ideality_ref_v: best.a,
            isc_a_per_k: points.alpha,
            adjust_ratio: 0.0,
        },
        ideality: best.a / points.thermal_v,
        voc_temp_error_ratio_per_k: best.beta_error / points.voc,
        vmp_error_ratio: best.curve().max_power().voltage.v() / points.vmp - 1.0,
    })
}

impl Points {
    fn of(module: &Module) -> Result<Self, FitError> {
        let (vmp, imp) = (module.vmp.v(), module.imp.a());
        let (voc, isc) = (module.voc.v(), module.isc.a());
        // Written so that NaN fails as well.
        if !(0.0 < vmp && vmp < voc && 0.0 < imp && imp < isc) {
            return Err(FitError::Order {
                vmp_v: vmp,
                voc_v: voc,
                imp_a: imp,
                isc_a: isc,
            });
        }
        let (alpha, beta) = (module.isc_temp_ratio_per_k, module.voc_temp_ratio_per_k);
        if !(alpha.is_finite() && beta.is_finite()) {
            return Err(FitError::Coefficients {
                isc_per_k: alpha,
                voc_per_k: beta,
            });
        }
        let cells = f64::from(module.cells_in_series);
        Ok(Self {
            vmp,
            imp,
            voc,
            isc,
            alpha: alpha * isc,
            beta: beta * voc,
            thermal_v: cells * BOLTZMANN_EV_PER_K * REFERENCE_K,
        })
    }

    fn no_curve(&self, cells_in_series: u16) -> FitError {
        FitError::NoCurve {
            fill_factor: self.vmp * self.imp / (self.voc * self.isc),
            voltage_ratio: self.vmp / self.voc,
            current_ratio: self.imp / self.isc,
            cells_in_series,
        }
    }

    /// The ideality at which beta is met, or the possible one that comes nearest.
    fn best_ideality(&self) -> Option<AtIdeality> {
        let mut nearest: Option<AtIdeality> = None;
        let mut before: Option<(f64, AtIdeality)> = None;
        for n in idealities() {
            let here = self.at_ideality(n);
            if let (Some((n_before, low)), Some(high)) = (before, here)
                && low.beta_error.signum() != high.beta_error.signum()
            {
                return self.refine(n_before, n, low.beta_error);
            }
            before = here.map(|solved| (n, solved));
            nearest = [nearest, here]
                .into_iter()
                .flatten()
                .min_by(|a, b| a.beta_error.abs().total_cmp(&b.beta_error.abs()));
        }
        nearest
    }

    fn refine(&self, mut low: f64, mut high: f64, error_at_low: f64) -> Option<AtIdeality> {
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            match self.at_ideality(middle) {
                Some(s) if s.beta_error.signum() == error_at_low.signum() => low = middle,
                _ => high = middle,
            }
        }
        self.at_ideality(low)
    }

    /// Solves the peak condition for R_s at one ideality.
    fn at_ideality(&self, n: f64) -> Option<AtIdeality> {
        let a = self.modified(n);
        let rs = |k: u32| self.most_series_ohm() * f64::from(k) / f64::from(SERIES_STEPS);
        let mut before: Option<(f64, f64)> = None;
        for k in 0..SERIES_STEPS {
            let here = self.peak_error(a, rs(k)).map(|error| (rs(k), error));
            if let (Some((low, error_low)), Some((high, error_high))) = (before, here)
                && error_low.signum() != error_high.signum()
            {
                let solved = self.solved(a, self.bisect_peak(a, low, high, error_low))?;
                return Some(solved);
            }
            before = here;
        }
        None
    }

    /// a at an ideality.
    pub(super) fn modified(&self, n: f64) -> f64 {
        n * self.thermal_v
    }

    /// At this R_s all of the voltage between peak and open circuit falls across it.
    pub(super) fn most_series_ohm(&self) -> f64 {
        (self.voc - self.vmp) / self.imp
    }

    fn bisect_peak(&self, a: f64, mut low: f64, mut high: f64, error_at_low: f64) -> f64 {
        for _ in 0..HALVINGS {
            let middle = f64::midpoint(low, high);
            match self.peak_error(a, middle) {
                Some(error) if error.signum() == error_at_low.signum() => low = middle,
                _ => high = middle,
            }
        }
        f64::midpoint(low, high)
    }

    /// G_sh and I_0 at given a and R_s, whatever their sign.
    fn shunt_and_saturation(&self, a: f64, rs: f64) -> (f64, f64) {
        let x_oc = self.voc / a;
        let x_m = (self.vmp + self.imp * rs) / a;
        let w = -(x_m - x_oc).exp_m1() / -(self.isc * rs / a - x_oc).exp_m1();
        let gsh = (self.imp - w * self.isc)
            / (self.voc - self.vmp - self.imp * rs - w * (self.voc - self.isc * rs)); // eq. (1)
        (gsh, self.saturation(a, rs, gsh))
    }

    fn saturation(&self, a: f64, rs: f64, gsh: f64) -> f64 {
        (self.isc - (self.voc - self.isc * rs) * gsh)
            / ((self.voc / a).exp() - (self.isc * rs / a).exp()) // eq. (2)
    }

    /// How far dP/dV is from zero at the peak, where the shunt is possible at all.
    fn peak_error(&self, a: f64, rs: f64) -> Option<f64> {
        let (gsh, i0) = self.shunt_and_saturation(a, rs);
        if !(gsh >= 0.0 && i0 > 0.0) {
            return None;
        }
        let conductance = i0 / a * ((self.vmp + self.imp * rs) / a).exp() + gsh;
        Some(self.imp - self.vmp * conductance / (1.0 + rs * conductance))
    }

    fn solved(&self, a: f64, rs: f64) -> Option<AtIdeality> {
        let (gsh, i0) = self.shunt_and_saturation(a, rs);
        if !(gsh >= 0.0 && i0 > 0.0) {
            return None;
        }
        Some(self.with_shunt(a, rs, gsh))
    }

    /// The curve through (0, Isc) and (Voc, 0) with these a, R_s and G_sh.
    pub(super) fn with_shunt(&self, a: f64, rs: f64, gsh: f64) -> AtIdeality {
        let i0 = self.saturation(a, rs, gsh);
        let il = i0 * (self.voc / a).exp_m1() + self.voc * gsh;
        let mut solved = AtIdeality {
            a,
            rs,
            gsh,
            i0,
            il,
            beta_error: 0.0,
        };
        let t = REFERENCE_K + BETA_STEP_K;
        let warm = Curve {
            photo_a: il + self.alpha * BETA_STEP_K,
            saturation_a: i0 * saturation_growth(t),
            ideality_v: a * t / REFERENCE_K,
            ..solved.curve()
        };
        let beta = (warm.open_circuit().v() - self.voc) / BETA_STEP_K;
        solved.beta_error = beta - self.beta;
        solved
    }
}

impl AtIdeality {
    /// The curve at 25 degC and 1000 W/m2.
    pub(super) fn curve(&self) -> Curve {
        Curve {
            photo_a: self.il,
            saturation_a: self.i0,
            ideality_v: self.a,
            series_ohm: self.rs,
            shunt_s: self.gsh,
        }
    }
}

/// The idealities that are tried.
pub(super) fn idealities() -> impl Iterator<Item = f64> {
    (0..=IDEALITY_STEPS)
        .map(|k| IDEALITY.0 + (IDEALITY.1 - IDEALITY.0) * f64::from(k) / f64::from(IDEALITY_STEPS))
}
