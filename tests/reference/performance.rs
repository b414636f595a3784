//! Figures of performance and the capacity's regression against other people's numbers.
//! Source: the `.source.toml` beside each table; `recompute_with_pvlib.py` computes them again.

use analysis::detect::{Gate, InputSlot, InverterSlot, PlaneSlot, Slot};
use analysis::expected::WeatherRung;
use analysis::ledger::{Figures, Gram, Performance, Period, fit};
use analysis::plant::Plant;
use analysis::reading::{
    Angle, Current, Irradiance, Power, Span, Speed, Temperature, Time, Voltage,
};
use serde::Deserialize;
use std::collections::BTreeMap;
use tests::plant::{NORTH, Shape, Strings, plant};
use tests::{assert_close, load_reference, relative};

/// Half a unit of the tenth digit that is stored, of a number that begins with 1, and rounding.
const SUMS: f64 = 6e-10;
/// Half a unit of the eighth digit, and what two ways to solve leave.
const LEAST_SQUARES: f64 = 1e-7;

#[derive(Deserialize)]
struct Hour {
    at_utc_ms: i64,
    air_degc: f64,
    wind_m_s: f64,
    beam_w_m2: f64,
    sky_w_m2: f64,
    ground_w_m2: f64,
    cell_degc: f64,
    vmp_v: f64,
    imp_a: f64,
}

#[derive(Deserialize)]
struct Day {
    solar_day: i64,
    reference_yield_h: f64,
    output_wh: f64,
    final_yield_h: f64,
    performance_ratio: f64,
    performance_25_degc_ratio: f64,
}

#[derive(Deserialize)]
struct Regression {
    terms: usize,
    points: u32,
    days: u32,
    a1: f64,
    a2: f64,
    a3: f64,
    a4: f64,
    residual_w: f64,
    power_w: f64,
    sigma_w: f64,
    sigma_by_days_w: f64,
}

impl Hour {
    fn poa_w_m2(&self) -> f64 {
        self.beam_w_m2 + self.sky_w_m2 + self.ground_w_m2
    }

    fn slot(&self) -> Slot {
        let plane = PlaneSlot {
            poa: Some((
                Irradiance::from_w_m2(self.poa_w_m2()),
                WeatherRung::PlaneSensor,
            )),
            cell: Some(Temperature::from_degc(self.cell_degc)),
        };
        let input = InputSlot {
            voltage: Some(Voltage::from_v(self.vmp_v)),
            current: Some(Current::from_a(self.imp_a)),
            expected: None,
            gate: Gate::Valid,
            limit: None,
        };
        let inverter = InverterSlot {
            ac_power: Some(Power::from_w(self.vmp_v * self.imp_a)),
            expected_ac_power: None,
            shade_ac_power: None,
            limit: None,
            producing: Some(true),
            inputs: vec![input],
        };
        Slot {
            start: Time::from_unix_ms(self.at_utc_ms) - Span::from_min(30),
            span: Span::from_h(1),
            air: Some(Temperature::from_degc(self.air_degc)),
            wind: Some(Speed::from_m_s(self.wind_m_s)),
            planes: vec![plane; 2],
            inverters: vec![inverter],
        }
    }
}

/// One module, as in the tables, where they are.
fn one_module() -> Plant {
    let mut plant = plant(&Shape {
        inverters: vec![(
            1000.0,
            vec![Strings {
                parallel: 1,
                modules: 1,
                plane: NORTH,
            }],
        )],
        sensor: Some(NORTH),
        every: Span::from_h(1),
    });
    plant.site.latitude = Angle::from_deg(50.0);
    plant.site.longitude = Angle::from_deg(10.0);
    plant.site.altitude_m = 300.0;
    plant.modules[0].vmp = Voltage::from_v(31.0);
    plant.modules[0].imp = Current::from_a(13.23);
    plant.modules[0].pmax_temp_ratio_per_k = -0.0034;
    plant
}

fn year() -> (Vec<Figures>, Vec<Hour>) {
    let hours: Vec<Hour> = load_reference("site_year_north.csv", 1400);
    let mut performance = Performance::new(&one_module());
    hours.iter().for_each(|hour| performance.add(&hour.slot()));
    (performance.figures(), hours)
}

#[test]
fn yields_and_ratios_of_days_are_those_of_plain_sums() {
    let (figures, _) = year();
    let by_day: BTreeMap<i64, &Figures> = figures
        .iter()
        .filter(|f| f.period == Period::Day && f.inverter == Some(0))
        .map(|f| (f.first.number(), f))
        .collect();
    for day in load_reference::<Day>("performance_days.csv", 120) {
        let found = by_day[&day.solar_day];
        for (found, wanted) in [
            (found.reference_yield_h, day.reference_yield_h),
            (found.output_wh, day.output_wh),
            (found.final_yield_h, day.final_yield_h),
            (found.array_yield_h, day.final_yield_h),
            (found.performance_ratio, day.performance_ratio),
            (found.performance_ratio_25, day.performance_25_degc_ratio),
        ] {
            let found = found.expect("the day is covered");
            let tolerance = relative(SUMS, wanted);
            assert_close!(found, wanted, tolerance, format!("day {}", day.solar_day));
        }
    }
}

/// Two of three days have no rows: what there is says nothing of a month or the year.
#[test]
fn a_month_of_which_a_third_is_there_has_no_figures() {
    let (figures, _) = year();
    let longer: Vec<_> = figures.iter().filter(|f| f.period != Period::Day).collect();
    assert!(longer.len() >= 2 * (12 + 1 + 1), "{}", longer.len());
    for f in longer {
        let cover = f.light_cover_ratio.expect("the sun rises");
        assert!(cover < 0.5, "{f:?}");
        assert_eq!((f.performance_ratio, f.final_yield_h), (None, None));
    }
}

/// Source: the project's reference book, worked example: 29.53 kW, 138.2 kWh in light of 5.84 h.
#[test]
fn the_worked_example_of_a_day_comes_out() {
    /// It prints six decimals.
    const PRINTED: f64 = 5e-7;
    let (rated_kw, output_kwh, reference_h) = (29.53, 138.2, 5.84);
    let mut plant = one_module();
    // Two numbers that make the rating: 100 V times so many ampere.
    plant.modules[0].vmp = Voltage::from_v(100.0);
    plant.modules[0].imp = Current::from_a(rated_kw * 10.0);
    let mut performance = Performance::new(&plant);
    let hours: Vec<Hour> = load_reference("site_year_north.csv", 1400);
    // A whole day of it, in as many equal hours as it has light.
    let day = |hour: &Hour| Time::from_unix_ms(hour.at_utc_ms).solar_day(10.0);
    let whole = day(&hours[100]);
    let lit: Vec<&Hour> = hours.iter().filter(|hour| day(hour) == whole).collect();
    let n = lit.len() as f64;
    for hour in &lit {
        let mut slot = hour.slot();
        for plane in &mut slot.planes {
            let light = Irradiance::from_w_m2(reference_h * 1000.0 / n);
            plane.poa = Some((light, WeatherRung::PlaneSensor));
        }
        slot.inverters[0].ac_power = Some(Power::from_w(output_kwh * 1000.0 / n));
        performance.add(&slot);
    }
    let figures = performance.figures();
    let f = &figures[0];
    assert_close!(f.final_yield_h.expect("covered"), 4.679_986, PRINTED, "Y_f");
    assert_close!(
        f.performance_ratio.expect("covered"),
        0.801_368,
        PRINTED,
        "PR"
    );
}

#[test]
fn the_regression_is_that_of_numpy() {
    let hours: Vec<Hour> = load_reference("site_year_north.csv", 1400);
    let mut days: BTreeMap<_, Gram> = BTreeMap::new();
    for hour in hours.iter().filter(|hour| hour.poa_w_m2() >= 400.0) {
        let day = Time::from_unix_ms(hour.at_utc_ms).solar_day(10.0);
        let power_w = hour.vmp_v * hour.imp_a;
        let gram = days.entry(day).or_default();
        gram.add(hour.poa_w_m2(), hour.air_degc, hour.wind_m_s, power_w);
    }
    let days: Vec<Gram> = days.into_values().collect();
    for wanted in load_reference::<Regression>("capacity_regression.csv", 2) {
        let found = fit(&days, wanted.terms).expect("enough points");
        assert_eq!((found.points, found.days), (wanted.points, wanted.days));
        let wind = if wanted.terms == 4 { 2.5 } else { 0.0 };
        let at = (800.0, 20.0, wind);
        let [a1, a2, a3, a4] = found.coefficients;
        let by_days = found.sigma_by_days_w(at.0, at.1, at.2).expect("many days");
        for (found, wanted, label) in [
            (a1, wanted.a1, "a1"),
            (a2, wanted.a2, "a2"),
            (a3, wanted.a3, "a3"),
            (a4, wanted.a4, "a4"),
            (found.residual_w, wanted.residual_w, "residual"),
            (found.power_w(at.0, at.1, at.2), wanted.power_w, "power"),
            (found.sigma_w(at.0, at.1, at.2), wanted.sigma_w, "sigma"),
            (by_days, wanted.sigma_by_days_w, "sigma by days"),
        ] {
            assert_close!(found, wanted, relative(LEAST_SQUARES, wanted), label);
        }
    }
}
