//! The whole chain from time to voltage and current of a module at its peak, through a year in the
//! south and one in the north. The steps to the light in the plane are in `sky/year.rs`.

use super::{OWN_MODULE, assert_all};
use analysis::array::{ArrayError, cell_from_back, faiman};
use analysis::plant::{Mounting, Plane};
use analysis::reading::{Angle, Irradiance, Speed, Temperature, Time};
use analysis::sky::{
    DiffuseModifiers, Observer, clear_sky, diffuse_modifiers, erbs, incidence, incidence_modifier,
    plane_irradiance, sun_position,
};
use serde::Deserialize;
use tests::{assert_close, load_reference};

/// Half a unit of the tenth digit that is stored, and as much again for a sun that grazes the
/// plane, where a cosine enlarges the last digits of its position.
const WHOLE_CHAIN: f64 = 1e-9;
/// Half a unit of the ninth digit that is stored, and as much again for the root searches; twice
/// for their product.
const PEAK: f64 = 1e-8;
const PEAK_POWER: f64 = 2.0 * PEAK;
/// Half a unit of the tenth digit of tens of degrees, and as much again for the light.
const HEAT_K: f64 = 1e-8;
/// Least light of the one-diode model.
const LEAST_W_M2: f64 = 0.5;

#[derive(Deserialize)]
struct Row {
    at_utc: String,
    at_utc_ms: i64,
    linke_turbidity: f64,
    /// The weather: global over that of a clear sky, air and wind.
    cloud_ratio: f64,
    air_degc: f64,
    wind_m_s: f64,
    modifier_ratio: f64,
    effective_w_m2: f64,
    back_degc: f64,
    cell_degc: f64,
    vmp_v: f64,
    imp_a: f64,
}

/// A place and a plane there.
struct Site {
    observer: Observer,
    plane: Plane,
    diffuse: DiffuseModifiers,
}

/// What the module has in a row.
struct Seen {
    modifier: f64,
    effective: Irradiance,
    back: Temperature,
    cell: Temperature,
}

impl Site {
    fn new(place: [f64; 3], tilt_deg: f64, azimuth_deg: f64) -> Self {
        let [latitude, longitude] = [place[0], place[1]].map(Angle::from_deg);
        let tilt = Angle::from_deg(tilt_deg);
        Self {
            observer: Observer::new(latitude, longitude, place[2]),
            plane: Plane {
                id: "p".to_owned(),
                tilt,
                azimuth: Angle::from_deg(azimuth_deg),
                mounting: Mounting::OPEN_RACK,
                albedo_ratio: 0.2,
                horizon: None,
            },
            diffuse: diffuse_modifiers(tilt),
        }
    }

    /// Nothing but the time and the weather comes from the table: errors would add up.
    fn seen(&self, row: &Row) -> Seen {
        let at = Time::from_unix_ms(row.at_utc_ms);
        let sun = sun_position(at, &self.observer);
        let clear = clear_sky(at, &sun, &self.observer, row.linke_turbidity);
        let ghi = Irradiance::from_w_m2(row.cloud_ratio * clear.ghi.w_m2());
        let light = plane_irradiance(&erbs(ghi, at, &sun), at, &sun, &self.plane);
        let modifier = incidence_modifier(incidence(&sun, &self.plane));
        let effective = modifier * light.beam.w_m2()
            + self.diffuse.sky * light.sky_diffuse.w_m2()
            + self.diffuse.ground * light.ground.w_m2();
        let (air, wind) = (
            Temperature::from_degc(row.air_degc),
            Speed::from_m_s(row.wind_m_s),
        );
        let back = faiman(light.total(), air, wind, &self.plane.mounting);
        Seen {
            modifier,
            effective: Irradiance::from_w_m2(effective),
            back,
            cell: cell_from_back(back, light.total(), &self.plane.mounting),
        }
    }
}

#[test]
fn a_module_through_a_southern_year_matches_another_code() {
    let site = Site::new([-35.0, 147.5, 200.0], 20.0, 0.0);
    assert_year("site_year.csv", &site);
}

#[test]
fn a_module_through_a_northern_year_matches_another_code() {
    let site = Site::new([50.0, 10.0, 300.0], 35.0, 180.0);
    assert_year("site_year_north.csv", &site);
}

fn assert_year(table: &str, site: &Site) {
    /// Rows in light enough for a peak, and a few at dawn with too little.
    const BRIGHT: usize = 1400;
    let mut bright = 0;
    for row in load_reference::<Row>(table, BRIGHT) {
        let (seen, label) = (site.seen(&row), &row.at_utc);
        let light = [
            ("modifier", seen.modifier, row.modifier_ratio),
            ("effective", seen.effective.w_m2(), row.effective_w_m2),
        ];
        assert_all(&light, WHOLE_CHAIN, label);
        assert_close!(seen.back.degc(), row.back_degc, HEAT_K, label);
        assert_close!(seen.cell.degc(), row.cell_degc, HEAT_K, label);
        let curve = OWN_MODULE.at(seen.effective, seen.cell);
        if row.effective_w_m2 < LEAST_W_M2 {
            let found_w_m2 = seen.effective.w_m2();
            assert_eq!(curve, Err(ArrayError::Irradiance { found_w_m2 }), "{label}");
            continue;
        }
        let peak = curve.expect("inside the range of the model").max_power();
        let pairs = [
            ("Vmp", peak.voltage.v(), row.vmp_v),
            ("Imp", peak.current.a(), row.imp_a),
        ];
        assert_all(&pairs, PEAK, label);
        let power = [("Pmp", peak.power().w(), row.vmp_v * row.imp_a)];
        assert_all(&power, PEAK_POWER, label);
        bright += 1;
    }
    assert!(bright >= BRIGHT, "{table}: {bright} rows in light enough");
}
