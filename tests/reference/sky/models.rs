//! Models beside those of the chain: beam by DISC and DIRINT, clear sky by Haurwitz.

use super::{CLOSED_FORM, deg, w_m2};
use analysis::reading::{Temperature, Time};
use analysis::sky::{Global, dirint, disc, haurwitz};
use serde::Deserialize;
use tests::{assert_close, load_reference, relative};

/// No beam: the other code says zero as well.
const NONE_W_M2: f64 = 1e-9;

#[derive(Deserialize)]
struct Disc {
    at_utc_ms: i64,
    zenith_deg: f64,
    pressure_pa: f64,
    ghi_w_m2: f64,
    dni_w_m2: f64,
}

#[test]
fn disc_matches_another_code() {
    for row in load_reference::<Disc>("disc.csv", 189) {
        let global = Global {
            ghi: w_m2(row.ghi_w_m2),
            at: Time::from_unix_ms(row.at_utc_ms),
            zenith: deg(row.zenith_deg),
            pressure_pa: row.pressure_pa,
        };
        let parts = disc(&global);
        let label = format!("{} W/m2 at {} deg", row.ghi_w_m2, row.zenith_deg);
        let tolerance = relative(CLOSED_FORM, row.dni_w_m2).max(NONE_W_M2);
        assert_close!(parts.dni.w_m2(), row.dni_w_m2, tolerance, label);
        let sum = parts.dni.w_m2() * global.zenith.rad().cos() + parts.dhi.w_m2();
        assert_close!(sum, row.ghi_w_m2, relative(CLOSED_FORM, sum), label);
    }
}

#[derive(Deserialize)]
struct Dirint {
    at_utc_ms: i64,
    zenith_deg: f64,
    pressure_pa: f64,
    ghi_w_m2: f64,
    dew_point_degc: f64,
    dni_w_m2: f64,
    dni_without_dew_w_m2: f64,
    dni_alone_w_m2: f64,
}

#[test]
fn dirint_matches_another_code() {
    let rows = load_reference::<Dirint>("dirint.csv", 94);
    let global = |row: &Dirint| Global {
        ghi: w_m2(row.ghi_w_m2),
        at: Time::from_unix_ms(row.at_utc_ms),
        zenith: deg(row.zenith_deg),
        pressure_pa: row.pressure_pa,
    };
    let all: Vec<Global> = rows.iter().map(global).collect();
    for (n, row) in rows.iter().enumerate() {
        let before = n.checked_sub(1).and_then(|n| all.get(n));
        let around = [before, all.get(n + 1)];
        let dew_point = Some(Temperature::from_degc(row.dew_point_degc));
        for (name, parts, wanted) in [
            ("all", dirint(&all[n], around, dew_point), row.dni_w_m2),
            (
                "without dew point",
                dirint(&all[n], around, None),
                row.dni_without_dew_w_m2,
            ),
            (
                "alone",
                dirint(&all[n], [None, None], None),
                row.dni_alone_w_m2,
            ),
        ] {
            let tolerance = relative(CLOSED_FORM, wanted).max(NONE_W_M2);
            assert_close!(
                parts.dni.w_m2(),
                wanted,
                tolerance,
                format!("row {n} {name}")
            );
        }
    }
}

#[derive(Deserialize)]
struct Haurwitz {
    zenith_deg: f64,
    ghi_w_m2: f64,
}

#[test]
fn haurwitz_matches_another_code() {
    for row in load_reference::<Haurwitz>("clearsky_haurwitz.csv", 12) {
        let tolerance = relative(CLOSED_FORM, row.ghi_w_m2);
        let ghi = haurwitz(deg(row.zenith_deg)).w_m2();
        assert_close!(ghi, row.ghi_w_m2, tolerance, row.zenith_deg);
    }
}
