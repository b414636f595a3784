//! From the errors of light, heat and model to those of voltage, current and power of an input.
//!
//! Model:   relative: dV = (v_g + v_t D) e_g + v_t e_t + e_v;  dI = (i_g + i_t D) e_g + i_t e_t + e_i
//!          dP = dV + dI, so that what moves both adds before it is squared            eq. (1)
//!          v_g = d ln V / d ln G, v_t = d ln V / dT at the peak, i_g, i_t likewise: differences of
//!          the chain itself.
//! Symbols: e_g light [-], e_t cell temperature [K], e_v, e_i model and meters [-];
//!          D rise of the cells over the air from which they are computed [K], which errs with the
//!          light; independent normal errors with the standard deviations of `sigma`
//! Range:   small errors: the chain is taken as straight within them
//! Source:  propagation of uncertainty, JCGM 100:2008 (GUM) clause 5 (from memory, verify)
//! Check:   tests below; tests/acceptance/coverage.rs.

use super::PlaneLight;
use super::calibration::Factors;
use super::chain::InputModel;
use super::sigma::{self, Sigma};
use super::types::Uncertain;
use crate::array::OperatingPoint;

/// Steps of the differences: small beside any error, large beside rounding.
const LIGHT_STEP_RATIO: f64 = 1e-3;
const HEAT_STEP_K: f64 = 0.1;
/// Half width of a uniform distribution over its standard deviation: sqrt(3).
const UNIFORM: f64 = 1.732_050_807_568_877_2;

/// How the peak moves.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Slopes {
    /// v_g, i_g [-].
    voltage_light: f64,
    current_light: f64,
    /// v_t, i_t [1/K].
    voltage_heat: f64,
    current_heat: f64,
}

/// Relative standard deviations of an input's voltage, current and power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct InputUncertain {
    pub voltage: Uncertain,
    pub current: Uncertain,
    pub power: Uncertain,
}

/// The slopes at a peak, from the peak in this share of the light and at so much higher cell
/// temperature.
pub(super) fn slopes<E>(
    peak: &OperatingPoint,
    moved: impl Fn(f64, f64) -> Result<OperatingPoint, E>,
) -> Option<Slopes> {
    let change = |point: &OperatingPoint| {
        (
            point.voltage.v() / peak.voltage.v() - 1.0,
            point.current.a() / peak.current.a() - 1.0,
        )
    };
    // Towards dark and cold or back, whichever the model's range allows.
    let along = |step: f64, at: &dyn Fn(f64) -> Result<OperatingPoint, E>| {
        let forth = at(step).map(|point| (change(&point), step));
        let (change, step) = forth
            .or_else(|_| at(-step).map(|p| (change(&p), -step)))
            .ok()?;
        Some((change.0 / step, change.1 / step))
    };
    let (voltage_light, current_light) = along(LIGHT_STEP_RATIO, &|s| moved(1.0 + s, 0.0))?;
    let (voltage_heat, current_heat) = along(HEAT_STEP_K, &|s| moved(1.0, s))?;
    Some(Slopes {
        voltage_light,
        current_light,
        voltage_heat,
        current_heat,
    })
}

/// What else of the peak matters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Peak {
    /// Its current [A].
    pub current_a: f64,
    /// The loss by age that it takes for granted [-].
    pub aged_ratio: f64,
}

/// Uncertainty of an input in the light of its plane.
pub(super) fn propagate(
    slopes: &Slopes,
    plane: &PlaneLight,
    input: &InputModel,
    factors: &Factors,
    peak: &Peak,
) -> InputUncertain {
    // A calibrated gain of the light has taken the model's and the modules' lasting parts with it.
    let calibrated = |sigma: Option<f64>| sigma.map(|_| 0.0);
    let light = plane
        .sigma
        .total(factors.light.sigma)
        .hypot(plane.unsteady_ratio);
    let heat_k = plane.heat.sigma_k.total(factors.offset_k.sigma);
    let modules = Sigma::new(
        (input.power_tolerance_ratio / UNIFORM).hypot(peak.aged_ratio / 2.0),
        0.0,
    );
    let model_current = sigma::MODEL_CURRENT
        .and(modules)
        .total(calibrated(factors.light.sigma));
    let model_voltage = sigma::MODEL_VOLTAGE.total(calibrated(factors.offset_k.sigma));
    let floor = sigma::METER_FLOOR * input.rated_current_a / peak.current_a;
    let own_current = sigma::OWN_CURRENT.total(factors.current.sigma).hypot(floor);
    let own_voltage = sigma::OWN_VOLTAGE.total(factors.voltage.sigma);
    let rise_k = plane.heat.rise_k();
    let by_light = (
        light * (slopes.voltage_light + slopes.voltage_heat * rise_k),
        light * (slopes.current_light + slopes.current_heat * rise_k),
    );
    let by_heat = (heat_k * slopes.voltage_heat, heat_k * slopes.current_heat);
    let in_quadrature = |parts: [f64; 4]| parts.iter().map(|p| p * p).sum::<f64>().sqrt();
    InputUncertain {
        voltage: Uncertain {
            common_ratio: in_quadrature([by_light.0, by_heat.0, model_voltage, 0.0]),
            own_ratio: own_voltage,
        },
        current: Uncertain {
            common_ratio: in_quadrature([by_light.1, by_heat.1, model_current, 0.0]),
            own_ratio: own_current,
        },
        // eq. (1)
        power: Uncertain {
            common_ratio: in_quadrature([
                by_light.0 + by_light.1,
                by_heat.0 + by_heat.1,
                model_voltage,
                model_current,
            ]),
            own_ratio: own_voltage.hypot(own_current),
        },
    }
}
