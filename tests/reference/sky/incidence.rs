//! What the glass takes from light that comes at an angle, and from everywhere.

use super::{CLOSED_FORM, deg};
use analysis::sky::{
    ashrae_modifier, diffuse_modifiers, incidence_modifier, martin_ruiz_diffuse,
    martin_ruiz_modifier,
};
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

/// Coefficients of the tables.
const ASHRAE_B: f64 = 0.05;
const MARTIN_RUIZ_A_R: f64 = 0.16;

#[derive(Deserialize)]
struct Direct {
    incidence_deg: f64,
    physical_ratio: f64,
    ashrae_ratio: f64,
    martin_ruiz_ratio: f64,
}

#[test]
fn modifiers_of_direct_light_match_another_code() {
    /// At 90 deg the other code is left with the cosine of a rounded right angle.
    const RIGHT_ANGLE: f64 = 1e-15;
    for row in load_reference::<Direct>("iam_direct.csv", 18) {
        let at = deg(row.incidence_deg);
        for (name, computed, wanted) in [
            ("physical", incidence_modifier(at), row.physical_ratio),
            ("ASHRAE", ashrae_modifier(at, ASHRAE_B), row.ashrae_ratio),
            (
                "Martin-Ruiz",
                martin_ruiz_modifier(at, MARTIN_RUIZ_A_R),
                row.martin_ruiz_ratio,
            ),
        ] {
            let tolerance = relative(CLOSED_FORM, wanted).max(RIGHT_ANGLE);
            let label = format!("{name} at {} deg", row.incidence_deg);
            assert_close!(computed, wanted, tolerance, label);
        }
    }
}

#[derive(Deserialize)]
struct Diffuse {
    tilt_deg: f64,
    physical_sky_ratio: f64,
    physical_ground_ratio: f64,
    martin_ruiz_sky_ratio: f64,
    martin_ruiz_ground_ratio: f64,
}

#[test]
fn modifiers_of_diffuse_light_match_another_code() {
    for row in load_reference::<Diffuse>("iam_diffuse.csv", 9) {
        let tilt = deg(row.tilt_deg);
        let (physical, empirical) = (
            diffuse_modifiers(tilt),
            martin_ruiz_diffuse(tilt, MARTIN_RUIZ_A_R),
        );
        for (name, computed, wanted) in [
            ("physical sky", physical.sky, row.physical_sky_ratio),
            (
                "physical ground",
                physical.ground,
                row.physical_ground_ratio,
            ),
            ("Martin-Ruiz sky", empirical.sky, row.martin_ruiz_sky_ratio),
            (
                "Martin-Ruiz ground",
                empirical.ground,
                row.martin_ruiz_ground_ratio,
            ),
        ] {
            let tolerance = relative(CLOSED_FORM, wanted);
            assert_close!(
                computed,
                wanted,
                tolerance,
                format!("{name} at {} deg", row.tilt_deg)
            );
        }
    }
}
