//! Heat loss of the named mountings.
//!
//! Model:   T_m = T_a + G / (u0 + u1 v);  T_c = T_m + G / 1000 dT
//! Symbols: T_a, T_m, T_c  air, back of module, cell [degC]   G  irradiance in the plane [W/m2]
//!          v  wind speed [m/s]   u0 [W/(m2 K)]   u1 [W s/(m3 K)]   dT  `cell_over_back_k` [K]
//! Range:   steady state; the two close mountings from 1 to 5 m/s, over which they were drawn.
//! Source:  open rack: the defaults of IEC 61853-2, u0 25.0 and u1 6.84. The close mountings: the
//!          line in v through G / (T_m - T_a) of the Sandia model (King et al. 2004),
//!          T_m - T_a = G exp(a + b v), at 1 and 5 m/s; a, b and dT are its published mountings
//!          "close mount, glass/cell/glass" and "insulated back, glass/cell/polymer". That model's
//!          wind is at 10 m. dT of the open rack is its "open rack" value.
//! Check:   the tests below redo the line from a and b; worst error 0.2 K at 3 m/s.

use crate::own_shape::Mounting as Raw;
use analysis::plant::Mounting;

const CLOSE_ROOF: Mounting = Mounting {
    u0: 19.57,
    u1: 1.07,
    cell_over_back_k: 1.0,
};
const INSULATED_BACK: Mounting = Mounting {
    u0: 16.51,
    u1: 0.87,
    cell_over_back_k: 0.0,
};

/// The numbers behind a name, or the file's own.
pub(crate) fn mounting(raw: &Raw) -> Option<Mounting> {
    match raw {
        Raw::Named(name) => Some(match name.as_str() {
            "open-rack" => Mounting::OPEN_RACK,
            "close-roof" => CLOSE_ROOF,
            "insulated-back" => INSULATED_BACK,
            _ => return None,
        }),
        Raw::Own(own) => Some(Mounting {
            u0: own.u0.as_ref()?.value,
            u1: own.u1.as_ref()?.value,
            cell_over_back_k: own.cell_over_back_k.as_ref()?.value,
        }),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rise of the back over the air at 1000 W/m2 by the Sandia model, eq. of the header.
    fn sandia_rise_k(a: f64, b: f64, v: f64) -> f64 {
        1000.0 * (a + b * v).exp()
    }

    fn rise_k(m: Mounting, v: f64) -> f64 {
        1000.0 / (m.u0 + m.u1 * v)
    }

    /// Parameters a, b as published for the two mountings (King et al. 2004).
    const CASES: [(Mounting, f64, f64); 2] = [
        (CLOSE_ROOF, -2.98, -0.0471),
        (INSULATED_BACK, -2.81, -0.0455),
    ];

    #[test]
    fn the_line_meets_the_model_at_its_ends_and_stays_near_between() {
        // u0 is rounded to 0.01 of 20 and the rise is near 50 K: 0.03 K, twice that for u1.
        const ENDS_K: f64 = 0.06;
        // A chord of a convex curve, at its middle.
        const MIDDLE_K: f64 = 0.3;
        for (mounting, a, b) in CASES {
            for (v, tolerance) in [(1.0, ENDS_K), (3.0, MIDDLE_K), (5.0, ENDS_K)] {
                let gap = rise_k(mounting, v) - sandia_rise_k(a, b, v);
                assert!(gap.abs() <= tolerance, "{mounting:?} at {v} m/s: {gap} K");
            }
        }
    }
}
