//! From the errors of light, heat and model to those of voltage, current and power of an input.
//!
//! Model:   relative: dV = (v_g + v_t D) e_g + v_t e_t + e_v;  dI = (i_g + i_t D) e_g + i_t e_t + e_i
//!          dP = dV + dI, so that what moves both adds before it is squared            eq. (1)
//!          v_g = d ln V / d ln G, v_t = d ln V / dT at the peak, i_g, i_t likewise
//!          (`array::peak_sensitivity`)
//! Symbols: e_g light [-], e_t cell temperature [K], e_v, e_i model and meters [-];
//!          D rise of the cells over the air from which they are computed [K], which errs with the
//!          light; independent normal errors with the standard deviations of `sigma`
//! Range:   small errors: the chain is taken as straight within them
//! Source:  propagation of uncertainty, JCGM 100:2008 (GUM) clause 5 (from memory, verify)
//! Check:   tests below; tests/acceptance/coverage.rs.

use super::PlaneLight;
use super::calibration::Factors;
use super::sigma::{self, Sigma};
use super::types::{Uncertain, WeatherRung};
use crate::array::PeakSensitivity;

/// Half width of a uniform distribution over its standard deviation: sqrt(3).
const UNIFORM: f64 = 1.732_050_807_568_877_2;

/// Relative standard deviations of an input's voltage, current and power.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct InputUncertain {
    pub voltage: Uncertain,
    pub current: Uncertain,
    /// Of the current at a voltage: without the tracker's way along the curve.
    pub current_on_curve: Uncertain,
    pub power: Uncertain,
}

/// What else of an input matters.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Facts {
    /// Its current at the peak, over that at 1000 W/m2 [-].
    pub current_ratio: f64,
    /// Largest power tolerance of its modules [-].
    pub power_tolerance_ratio: f64,
    /// The loss by age that is taken for granted [-].
    pub aged_ratio: f64,
}

/// Uncertainty of an input in the light of its plane.
pub(super) fn propagate(
    peak: &PeakSensitivity,
    plane: &PlaneLight,
    factors: &Factors,
    facts: &Facts,
) -> InputUncertain {
    // A calibrated gain of the light has taken the model's and the modules' lasting parts with it.
    let calibrated = |sigma: Option<f64>| sigma.map(|_| 0.0);
    let rise_k = plane.heat.rise_k();
    let heat_k = plane.heat.sigma_k(factors.offset_k.sigma);
    // A batch's difference in power, in its current and in its voltage at once.
    let batch = (facts.power_tolerance_ratio / UNIFORM).hypot(facts.aged_ratio / 2.0);
    let in_current = sigma::TOLERANCE_IN_CURRENT * batch;
    let in_voltage = batch - in_current;
    let lasting = |part: f64, left: Option<f64>| Sigma::new(part, 0.0).total(left);
    // Light that the array's own currents show has taken what lasts in them with it as well.
    let by_itself = (plane.rung == WeatherRung::ScaledClearSky).then_some(0.0);
    let absorbed = calibrated(factors.light.sigma).or(by_itself);
    // What siblings are beside each other is known once their own gains are.
    let beside_siblings = by_itself.filter(|_| factors.current.sigma.is_some());
    let light = plane
        .sigma
        .total(factors.light.sigma.or(beside_siblings))
        .hypot(plane.unsteady_ratio);
    // Of n inputs that show the light together each is one n-th of what it is compared with, and what
    // they share is in the light: in the band is left how far one is from all.
    let together = plane.own_inputs.filter(|n| *n > 1.0);
    let own_share = together.map_or(1.0, |n| (1.0 - n.recip()).sqrt());
    let by_batch = (
        lasting(in_voltage, calibrated(factors.offset_k.sigma)),
        lasting(in_current, absorbed),
    );
    let model_current = sigma::MODEL_CURRENT.total(absorbed);
    let model_voltage = sigma::MODEL_VOLTAGE.total(calibrated(factors.offset_k.sigma));
    let floor = sigma::METER_FLOOR / facts.current_ratio;
    let own_current = sigma::OWN_CURRENT.total(factors.current.sigma).hypot(floor);
    let own_voltage = sigma::OWN_VOLTAGE.total(factors.voltage.sigma);
    let own_in_band = own_current * own_share;
    let by_light = |light: f64| {
        (
            light * (peak.voltage_by_light + peak.voltage_per_k * rise_k),
            light * (peak.current_by_light + peak.current_per_k * rise_k),
        )
    };
    let light_in_band = together.map_or(light, |_| own_share * plane.unsteady_ratio);
    let (on_curve, by_light) = (by_light(light), by_light(light_in_band));
    let by_heat = (heat_k * peak.voltage_per_k, heat_k * peak.current_per_k);
    let in_quadrature = |parts: &[f64]| parts.iter().map(|p| p * p).sum::<f64>().sqrt();
    let common_current =
        |by_light: f64, model: f64| in_quadrature(&[by_light, by_heat.1, by_batch.1, model]);
    let model_in_band = together.map_or(model_current, |_| 0.0);
    InputUncertain {
        voltage: Uncertain {
            common_ratio: in_quadrature(&[by_light.0, by_heat.0, by_batch.0, model_voltage]),
            own_ratio: own_voltage.hypot(sigma::TRACKER),
        },
        current: Uncertain {
            common_ratio: common_current(by_light.1, model_in_band),
            own_ratio: own_current.hypot(sigma::TRACKER) * own_share,
        },
        current_on_curve: Uncertain {
            common_ratio: common_current(on_curve.1, model_current),
            own_ratio: own_current,
        },
        // eq. (1); at the peak the power does not move with the tracker.
        power: Uncertain {
            common_ratio: in_quadrature(&[
                by_light.0 + by_light.1,
                by_heat.0 + by_heat.1,
                by_batch.0 + by_batch.1,
                model_voltage,
                model_in_band,
            ]),
            own_ratio: own_voltage.hypot(own_in_band),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::expected::Heat;
    use crate::expected::calibration::Factor;
    use crate::expected::sigma::HeatSigma;
    use crate::reading::{Angle, Irradiance, Temperature};

    /// Of the module of the worked examples of the one-diode model, at 1000 W/m2 and 55 degC
    /// (pvlib 0.16.1).
    const PEAK: PeakSensitivity = PeakSensitivity {
        voltage_by_light: -0.0177,
        current_by_light: 0.9938,
        voltage_per_k: -0.003_926,
        current_per_k: 0.000_061,
    };

    fn plane(light: Sigma, sigma: HeatSigma) -> PlaneLight {
        let watts = Irradiance::from_w_m2(1000.0);
        PlaneLight {
            poa: watts,
            effective: watts,
            beam_share: 0.8,
            clear_poa: watts,
            rung: WeatherRung::PlaneSensor,
            own_inputs: None,
            sky_from: None,
            sensor: None,
            sigma: light,
            unsteady_ratio: 0.0,
            incidence: Angle::from_deg(20.0),
            heat: Heat {
                cell: Temperature::from_degc(55.0),
                sigma,
                from_air: None,
                settling_k: 0.0,
            },
        }
    }

    fn factors(sigma: Option<f64>) -> Factors {
        let factor = |value| Factor { value, sigma };
        Factors {
            light: factor(1.0),
            offset_k: factor(0.0),
            current: factor(1.0),
            voltage: factor(1.0),
        }
    }

    fn propagated(plane: &PlaneLight, factors: &Factors) -> InputUncertain {
        let facts = Facts {
            current_ratio: 1.0,
            power_tolerance_ratio: 0.03,
            aged_ratio: 0.0,
        };
        propagate(&PEAK, plane, factors, &facts)
    }

    #[test]
    fn light_moves_the_current_and_heat_the_voltage_and_both_the_power() {
        let known = factors(Some(0.0));
        let by_light = propagated(
            &plane(Sigma::new(0.0, 0.2), HeatSigma::of(Sigma::new(0.0, 0.0))),
            &known,
        );
        assert!((by_light.current.common_ratio - 0.2).abs() < 0.005);
        assert!(by_light.voltage.common_ratio < 0.006);
        let by_heat = propagated(
            &plane(Sigma::new(0.0, 0.0), HeatSigma::of(Sigma::new(0.0, 20.0))),
            &known,
        );
        assert!((by_heat.voltage.common_ratio - 0.0786).abs() < 0.001);
        // The current rises a little where the voltage falls: less than independent parts would.
        let independent = by_heat
            .voltage
            .total_ratio()
            .hypot(by_heat.current.total_ratio());
        assert!(by_heat.power.total_ratio() < independent);
    }

    #[test]
    fn a_calibration_takes_what_lasts_and_leaves_what_passes() {
        let plane = plane(Sigma::new(0.04, 0.01), HeatSigma::of(Sigma::new(3.0, 1.0)));
        let (before, after) = (
            propagated(&plane, &factors(None)),
            propagated(&plane, &factors(Some(0.001))),
        );
        assert!(before.current.common_ratio > 0.04);
        let left = after.current.common_ratio;
        assert!(left > 0.01 && left < 0.015, "{left}");
        assert!(after.voltage.total_ratio() < before.voltage.total_ratio());
        assert!(after.power.own_ratio < before.power.own_ratio);
    }
}
