//! Plants drawn at random: what the site file says, and what is true.
//!
//! Spreads are common practice for good installations (engineering judgement), one standard deviation
//! unless a line says otherwise. The modules are invented, as datasheets of their class state them.
//! Never in here: faults.

use super::draw::Draw;
use super::plant_facts::{inverter, plant, site};
use super::section_curve::{Datasheet, SectionModel};
use super::truth::{Object, Sensing, TrueInput, TruePlane, TrueString, Truth};
use analysis::plant::{Ageing, Input, Module, Mounting, Plane, Plant, PvString};
use analysis::reading::{Angle, Current, Resistance, Span, Time, Voltage};
use std::sync::Arc;

/// What is drawn from.
#[derive(Debug, Clone, Copy)]
pub struct Options {
    /// From one poll to the next.
    pub every: Span,
    /// Least number of inputs, and strings on each.
    pub least: (i64, i64),
}

/// A plant as its site file has it, the truth about it, and its first instant.
#[derive(Debug, Clone)]
pub struct DrawnPlant {
    /// What is known.
    pub plant: Arc<Plant>,
    /// What is true.
    pub truth: Truth,
    /// What measures the weather.
    pub sensing: Sensing,
    /// Midnight by the mean sun.
    pub start: Time,
}

/// Voc, Isc, Vmp, Imp, cells, sections; Isc, Voc and Pmp over themselves per kelvin.
const MODULES: [([f64; 6], [f64; 3]); 4] = [
    (
        [49.4, 11.32, 41.1, 10.71, 72.0, 3.0],
        [0.0005, -0.0027, -0.0035],
    ),
    (
        [37.4, 13.95, 31.0, 13.23, 54.0, 3.0],
        [0.00045, -0.0028, -0.0034],
    ),
    (
        [52.1, 14.0, 43.6, 13.2, 72.0, 3.0],
        [0.00045, -0.0025, -0.0030],
    ),
    (
        [38.3, 9.43, 31.0, 8.71, 60.0, 3.0],
        [0.0006, -0.0033, -0.0042],
    ),
];
/// Half width of the power tolerance of a batch [-].
const TOLERANCE: f64 = 0.03;

/// The plant of a seed.
pub fn draw_plant(seed: u64, options: Options) -> DrawnPlant {
    let draw = &mut Draw::new(seed, 1);
    let sensing = draw.pick(&[Sensing::Plane, Sensing::Horizontal, Sensing::Nothing]);
    let hemisphere = draw.pick(&[-1.0, 1.0]);
    let latitude_deg = hemisphere * draw.between(15.0, 52.0);
    let longitude_deg = draw.between(-170.0, 170.0);
    let altitude_km = draw.between(0.0, 0.9);
    let (module, sheet) = module(draw);
    let planes: Vec<(Plane, TruePlane)> = (0..draw.whole(1, 2))
        .map(|n| plane(draw, n, latitude_deg))
        .collect();
    let inputs = inputs(draw, options, &module, planes.len());
    let haze = draw.between(0.6, 1.1);
    let site = site(draw, [latitude_deg, longitude_deg, altitude_km, haze]);
    let rated_w = rated_w(draw, &module, &inputs);
    let limits = draw.chance(0.25).then(|| draw.between(0.5, 0.9));
    let truth = Truth {
        seed,
        latitude_deg,
        longitude_deg,
        altitude_km,
        haze,
        climate: [
            draw.between(0.2, 0.6),
            draw.between(0.2, 0.5),
            draw.between(0.05, 0.4),
        ],
        air: [
            30.0 - 0.5 * latitude_deg.abs() + 2.0 * draw.normal(),
            0.22 * latitude_deg.abs(),
            draw.between(3.0, 7.0),
        ],
        planes: planes.iter().map(|p| p.1).collect(),
        section: SectionModel::fit(&sheet),
        sections: sheet.sections,
        inputs: inputs.iter().map(|i| true_input(draw, i)).collect(),
        efficiency: efficiency(draw),
        supply: (draw.between(0.002, 0.012), draw.between(226.0, 239.0)),
        insulation: (draw.log_between(6e5, 6e6), draw.between(0.3, 0.8)),
        soiling_per_day: draw.log_between(1e-5, 6e-4),
        export_limit: limits,
        sensor: [
            1.0 + 0.02 * draw.normal_within(2.0),
            1.5 * draw.normal(),
            -draw.between(0.0, 0.01) / 365.0,
            0.7 * draw.normal(),
        ],
        sensor_is_cell: draw.chance(0.5),
        steps: [
            draw.pick(&[0.1, 0.1, 1.0]),
            draw.pick(&[0.01, 0.1, 0.1]),
            draw.pick(&[1.0, 10.0]),
        ],
        missing: draw.pick(&[0.0, 0.002, 0.01]),
        habits: [draw.chance(0.5), draw.chance(0.5)],
        ac_gain: 1.0 + 0.004 * draw.normal_within(2.5),
        clock_s: draw.between(-20.0, 20.0),
    };
    let stated = 1.0 + 0.002 * draw.normal_within(2.5);
    let efficiency = truth.efficiency.map(|ratio| (ratio * stated).min(0.999));
    let inverter = inverter(rated_w, inputs, &efficiency, options.every);
    let plant = plant(site, module, planes, inverter, sensing, options.every);
    DrawnPlant {
        plant: Arc::new(plant),
        start: start(draw, longitude_deg),
        truth,
        sensing,
    }
}

/// The first day: any of 2026.
fn start(draw: &mut Draw, longitude_deg: f64) -> Time {
    const NEW_YEAR_MS: i64 = 1_767_225_600_000;
    let day = draw.whole(0, 364);
    Time::from_unix_ms(NEW_YEAR_MS)
        + Span::from_h(24 * day)
        + Span::from_s(-(longitude_deg * 240.0) as i64)
}

/// As the datasheet has it, and as the batch is.
fn module(draw: &mut Draw) -> (Module, Datasheet) {
    let ([voc, isc, vmp, imp, cells, sections], per_k) = draw.pick(&MODULES);
    let module = Module {
        id: format!("mono-{:.0}", vmp * imp),
        voc: Voltage::from_v(voc),
        isc: Current::from_a(isc),
        vmp: Voltage::from_v(vmp),
        imp: Current::from_a(imp),
        cells_in_series: cells as u16,
        bypass_sections: sections as u8,
        isc_temp_ratio_per_k: per_k[0],
        voc_temp_ratio_per_k: per_k[1],
        pmax_temp_ratio_per_k: per_k[2],
        power_tolerance_ratio: TOLERANCE,
        ageing: Ageing::NONE,
    };
    let power = draw.between(-TOLERANCE, TOLERANCE);
    let current = 1.0 + 0.6 * power;
    let voltage = 1.0 + 0.4 * power;
    let sheet = Datasheet::of(&module);
    let true_sheet = Datasheet {
        voc: voc * voltage,
        isc: isc * current,
        vmp: vmp * voltage,
        imp: imp * current,
        per_k: [
            per_k[0] * draw.between(0.8, 1.2),
            per_k[1] * draw.between(0.96, 1.04),
            per_k[2] * draw.between(0.96, 1.04),
        ],
        ..sheet
    };
    (module, true_sheet)
}

fn plane(draw: &mut Draw, n: i64, latitude_deg: f64) -> (Plane, TruePlane) {
    let to_equator = if latitude_deg < 0.0 { 0.0 } else { 180.0 };
    let tilt_deg = draw.between(8.0, 38.0).round();
    let aside = if n == 0 {
        draw.between(-50.0, 50.0)
    } else {
        draw.pick(&[-90.0, 90.0])
    };
    let azimuth_deg = (to_equator + aside.round()).rem_euclid(360.0);
    let known = Plane {
        id: format!("plane-{}", n + 1),
        tilt: Angle::from_deg(tilt_deg),
        azimuth: Angle::from_deg(azimuth_deg),
        mounting: Mounting::OPEN_RACK,
        albedo_ratio: 0.2,
        horizon: None,
    };
    let is_shaded = draw.chance(0.3);
    let side = draw.pick(&[-1.0, 1.0]);
    let middle = to_equator + side * draw.between(55.0, 90.0);
    let half = draw.between(6.0, 15.0);
    let object = is_shaded.then_some(Object {
        from_deg: middle - half,
        to_deg: middle + half,
        below_deg: draw.between(12.0, 28.0),
        share: draw.between(0.05, 0.5),
        leaves: 0.0,
    });
    let true_plane = TruePlane {
        tilt: (tilt_deg + draw.normal_within(2.5)).max(1.0).to_radians(),
        azimuth: (azimuth_deg + 2.0 * draw.normal_within(2.5)).to_radians(),
        heat: [
            -3.50 + 0.07 * draw.normal_within(2.0),
            -0.065 + 0.008 * draw.normal_within(2.0),
        ],
        cell_over_back_k: draw.between(2.0, 3.5),
        inertia_s: draw.between(300.0, 600.0),
        ar: draw.between(0.14, 0.18),
        albedo: draw.between(0.12, 0.3),
        object,
    };
    (known, true_plane)
}

/// Inputs as the site file has them.
fn inputs(draw: &mut Draw, options: Options, module: &Module, planes: usize) -> Vec<Input> {
    let most = draw.pick(&[2, 3, 4, 6, 12]);
    let count = draw.whole(1, most).max(options.least.0);
    let most_modules = (820.0 / module.voc.v()) as i64;
    let common = draw.whole(most_modules / 2 + 2, most_modules);
    let parallel = draw.whole(1, 4);
    (1..=count)
        .map(|number| {
            let strings = if draw.chance(0.7) {
                parallel
            } else {
                draw.whole(1, 4)
            };
            let strings = strings.max(options.least.1);
            let modules = if draw.chance(0.7) {
                common
            } else {
                common - draw.whole(1, 3)
            };
            let plane = draw.whole(0, planes as i64 - 1) as usize;
            let string = |k| PvString {
                label: format!("{number}-{k}"),
                module: 0,
                count: modules as u16,
                plane,
                cable_loop: Resistance::from_ohm(0.3),
            };
            Input {
                number: number as u8,
                max_operating_current: Current::from_a(
                    (module.isc.a() * strings as f64 * 1.15).ceil(),
                ),
                max_short_circuit_current: Current::from_a(
                    (module.isc.a() * strings as f64 * 1.5).ceil(),
                ),
                strings: (1..=strings).map(string).collect(),
            }
        })
        .collect()
}

fn true_input(draw: &mut Draw, known: &Input) -> TrueInput {
    let string = |known: &PvString, draw: &mut Draw| TrueString {
        modules: f64::from(known.count),
        plane: known.plane,
        current_ratio: 1.0 + 0.006 * draw.normal_within(2.5),
        voltage_ratio: 1.0 + 0.003 * draw.normal_within(2.5),
        weaker: (draw.between(0.1, 0.4), draw.between(0.004, 0.015)),
        cable_ohm: draw.between(0.15, 0.45),
    };
    TrueInput {
        strings: known.strings.iter().map(|s| string(s, draw)).collect(),
        lag_s: 5.0 * draw.normal_within(2.5),
        gains: [
            1.0 + 0.004 * draw.normal_within(2.5),
            1.0 + 0.008 * draw.normal_within(2.5),
        ],
        wander: draw.log_between(0.002, 0.01),
    }
}

/// True efficiency at 5, 20, 50 and 100 % of the load.
fn efficiency(draw: &mut Draw) -> [f64; 4] {
    let best = draw.between(0.965, 0.985);
    [
        best - draw.between(0.03, 0.06),
        best - 0.006,
        best,
        best - 0.005,
    ]
}

fn rated_w(draw: &mut Draw, module: &Module, inputs: &[Input]) -> f64 {
    let modules: u16 = inputs
        .iter()
        .flat_map(|i| &i.strings)
        .map(|s| s.count)
        .sum();
    let dc_w = f64::from(modules) * module.pmp().w();
    (dc_w / draw.between(0.9, 1.35) / 100.0).round() * 100.0
}
