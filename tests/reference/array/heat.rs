//! Temperature of module and cell.

use analysis::array::{SandiaMounting, cell_from_back, faiman, ross, sandia_back};
use analysis::plant::Mounting;
use analysis::reading::{Irradiance, Speed, Temperature};
use serde::Deserialize;
use tests::{assert_close, load_reference};

/// Closed forms of a few products; 12 digits are stored.
const CLOSED_FORM_K: f64 = 1e-9;

#[derive(Deserialize)]
struct BackRow {
    u0_w_m2_k: f64,
    u1_w_s_m3_k: f64,
    poa_w_m2: f64,
    air_degc: f64,
    wind_m_s: f64,
    back_degc: f64,
}

#[test]
fn temperature_of_the_back_matches_another_code() {
    for row in load_reference::<BackRow>("temperature_back.csv", 135) {
        let mounting = Mounting {
            u0: row.u0_w_m2_k,
            u1: row.u1_w_s_m3_k,
            cell_over_back_k: 0.0,
        };
        let back = faiman(
            Irradiance::from_w_m2(row.poa_w_m2),
            Temperature::from_degc(row.air_degc),
            Speed::from_m_s(row.wind_m_s),
            &mounting,
        );
        let label = format!("{} W/m2 {} m/s", row.poa_w_m2, row.wind_m_s);
        assert_close!(back.degc(), row.back_degc, CLOSED_FORM_K, label);
    }
}

#[derive(Deserialize)]
struct CellRow {
    mounting: String,
    over_k: f64,
    poa_w_m2: f64,
    back_degc: f64,
    cell_degc: f64,
}

#[test]
fn temperature_of_the_cell_over_the_back_matches_another_code() {
    for row in load_reference::<CellRow>("temperature_cell_over_back.csv", 180) {
        let mounting = Mounting {
            u0: 25.0,
            u1: 6.84,
            cell_over_back_k: row.over_k,
        };
        let back = Temperature::from_degc(row.back_degc);
        let cell = cell_from_back(back, Irradiance::from_w_m2(row.poa_w_m2), &mounting);
        assert_close!(cell.degc(), row.cell_degc, CLOSED_FORM_K, row.mounting);
    }
}

#[derive(Deserialize)]
struct SandiaRow {
    mounting: String,
    a: f64,
    b_s_m: f64,
    over_k: f64,
    poa_w_m2: f64,
    air_degc: f64,
    wind_m_s: f64,
    back_degc: f64,
    cell_degc: f64,
}

#[test]
fn temperatures_by_the_sandia_model_match_another_code() {
    for row in load_reference::<SandiaRow>("temperature_sandia.csv", 180) {
        let mounting = match row.mounting.as_str() {
            "open_rack_glass_glass" => SandiaMounting::OPEN_RACK_GLASS_GLASS,
            "close_mount_glass_glass" => SandiaMounting::CLOSE_ROOF_GLASS_GLASS,
            "open_rack_glass_polymer" => SandiaMounting::OPEN_RACK_GLASS_POLYMER,
            "insulated_back_glass_polymer" => SandiaMounting::INSULATED_BACK_GLASS_POLYMER,
            other => panic!("{other} is not in the table"),
        };
        assert_eq!((mounting.a, mounting.b_s_m), (row.a, row.b_s_m));
        let poa = Irradiance::from_w_m2(row.poa_w_m2);
        let air = Temperature::from_degc(row.air_degc);
        let back = sandia_back(poa, air, Speed::from_m_s(row.wind_m_s), &mounting);
        let heat_loss = Mounting {
            u0: 25.0,
            u1: 6.84,
            cell_over_back_k: mounting.cell_over_back_k,
        };
        let cell = cell_from_back(back, poa, &heat_loss);
        let label = format!("{} {} m/s", row.mounting, row.wind_m_s);
        assert_close!(mounting.cell_over_back_k, row.over_k, 0.0, label);
        assert_close!(back.degc(), row.back_degc, CLOSED_FORM_K, label);
        assert_close!(cell.degc(), row.cell_degc, CLOSED_FORM_K, label);
    }
}

#[derive(Deserialize)]
struct RossRow {
    noct_degc: f64,
    poa_w_m2: f64,
    air_degc: f64,
    cell_degc: f64,
}

#[test]
fn temperature_by_the_nominal_one_matches_another_code() {
    for row in load_reference::<RossRow>("temperature_ross.csv", 45) {
        let noct = Temperature::from_degc(row.noct_degc);
        let poa = Irradiance::from_w_m2(row.poa_w_m2);
        let cell = ross(poa, Temperature::from_degc(row.air_degc), noct);
        assert_close!(cell.degc(), row.cell_degc, CLOSED_FORM_K, row.poa_w_m2);
    }
}
