//! Light carried into a plane: beam, ground, and the sky by four models.

use super::{CLOSED_FORM, noon, plane, sun_at, w_m2};
use analysis::plant::Plane;
use analysis::sky::{
    Components, SkyModel, SunPosition, incidence, perez_sky_diffuse, plane_irradiance,
};
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

#[derive(Deserialize)]
struct Transposition {
    tilt_deg: f64,
    azimuth_deg: f64,
    zenith_deg: f64,
    sun_azimuth_deg: f64,
    dni_w_m2: f64,
    ghi_w_m2: f64,
    dhi_w_m2: f64,
    e0_w_m2: f64,
    incidence_deg: f64,
    beam_w_m2: f64,
    sky_w_m2: f64,
    ground_w_m2: f64,
    isotropic_w_m2: f64,
    hay_davies_w_m2: f64,
    reindl_w_m2: f64,
}

impl Transposition {
    fn scene(&self) -> (Components, SunPosition, Plane) {
        let components = Components {
            ghi: w_m2(self.ghi_w_m2),
            dni: w_m2(self.dni_w_m2),
            dhi: w_m2(self.dhi_w_m2),
        };
        let sun = sun_at(self.zenith_deg, self.sun_azimuth_deg);
        (components, sun, plane(self.tilt_deg, self.azimuth_deg))
    }
}

#[test]
fn transposition_matches_another_code() {
    for (n, row) in load_reference::<Transposition>("transposition.csv", 12)
        .iter()
        .enumerate()
    {
        let (components, sun, plane) = row.scene();
        // Beam and ground do not depend on the day; the sky does, through the table's own E0.
        let light = plane_irradiance(&components, noon(1), &sun, &plane);
        let sky = perez_sky_diffuse(&components, w_m2(row.e0_w_m2), &sun, &plane);
        for (part, got, wanted) in [
            (
                "incidence",
                incidence(&sun, &plane).deg(),
                row.incidence_deg,
            ),
            ("beam", light.beam.w_m2(), row.beam_w_m2),
            ("sky", sky.w_m2(), row.sky_w_m2),
            ("ground", light.ground.w_m2(), row.ground_w_m2),
        ] {
            let tolerance = relative(CLOSED_FORM, wanted);
            assert_close!(got, wanted, tolerance, format!("row {n} {part}"));
        }
    }
}

#[test]
fn four_skies_match_another_code() {
    for (n, row) in load_reference::<Transposition>("transposition.csv", 12)
        .iter()
        .enumerate()
    {
        let (components, sun, plane) = row.scene();
        for (model, wanted) in [
            (SkyModel::Isotropic, row.isotropic_w_m2),
            (SkyModel::HayDavies, row.hay_davies_w_m2),
            (SkyModel::Reindl, row.reindl_w_m2),
            (SkyModel::Perez, row.sky_w_m2),
        ] {
            let sky = model.diffuse(&components, w_m2(row.e0_w_m2), &sun, &plane);
            let tolerance = relative(CLOSED_FORM, wanted);
            assert_close!(sky.w_m2(), wanted, tolerance, format!("row {n} {model:?}"));
        }
    }
}
