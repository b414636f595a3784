//! Plane irradiance from horizontal readings, beside a sensor in the plane: is it within its own
//! standard deviation?
//!
//! Kind of truth: reference. The laboratory's readings are of three quantities that must agree; on
//! all mornings the diffuse one does not (see the source file), so where it is used only rows that
//! close are. Tilt and albedo of the plane were fitted to these readings, so that what lasts
//! cannot be seen here; what comes and goes with the sky can. The plane sensor's own error is
//! inside what is seen.

use crate::bar::passes;
use analysis::expected::{Ladder, Moment};
use analysis::plant::Plant;
use analysis::reading::{
    Angle, Channel, ChannelTable, DeviceId, Place, Quantity, Reading, SlotMeans, Span, Time, Value,
};
use analysis::sky::{self, Observer};
use std::collections::BTreeSet;
use std::path::Path;
use tests::coverage::{Shares, quantile};
use tests::plant::{NORTH, Shape, Strings};

const STEP: Span = Span::from_min(5);
/// The zone of the stamps.
const ZONE: &str = "-0700";
/// Sun elevation [deg], plane irradiance [W/m2] and incidence [deg] from which arrays are tested.
const LEAST_ELEVATION_DEG: f64 = 8.0;
const LEAST_POA_W_M2: f64 = 100.0;
const MOST_INCIDENCE_DEG: f64 = 75.0;
/// How far global, direct and diffuse light may be from each other to count as closed: ratio of
/// global and irradiance [W/m2].
const CLOSED: (f64, f64) = (0.03, 5.0);

/// What is given to the ladder, and whether its shares miss the bar today. To be emptied. Of global
/// irradiance alone the correlation takes 15 % too much away on these days at middling shares of
/// diffuse light: the 95 % band holds 86 %.
const SETS: [(&str, &[Quantity], bool); 3] = [
    ("GHI + DNI", &[Quantity::Ghi, Quantity::Dni], false),
    ("GHI + DHI, closed", &[Quantity::Ghi, Quantity::Dhi], false),
    ("GHI", &[Quantity::Ghi], true),
];

/// One row [W/m2].
struct Row {
    at: Time,
    ghi: f64,
    dni: f64,
    dhi: f64,
    poa: f64,
}

/// Expected and measured plane irradiance.
struct Compared {
    z: f64,
    ratio: f64,
    diffuse_ratio: f64,
}

fn rows() -> Vec<Row> {
    let path = "data/nrel_pvanalytics/irradiance_RMIS_NREL.csv";
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join(path);
    let mut reader = csv::Reader::from_path(path).expect("it is there");
    let row = |record: csv::StringRecord| {
        let stamp = format!("{} {ZONE}", &record[0]);
        let at = chrono::DateTime::parse_from_str(&stamp, "%m/%d/%Y %H:%M %z").expect("a time");
        let value = |n: usize| record[n].parse::<f64>().ok();
        Some(Row {
            at: Time::from_unix_ms(at.timestamp_millis()),
            dhi: value(1)?,
            dni: value(2)?,
            ghi: value(3)?,
            poa: value(5)?,
        })
    };
    reader
        .records()
        .filter_map(|r| row(r.expect("CSV")))
        .collect()
}

fn plant(given: &[Quantity]) -> Plant {
    let strings = Strings {
        parallel: 1,
        modules: 10,
        plane: NORTH,
    };
    let mut plant = tests::plant::plant(&Shape {
        inverters: vec![(5000.0, vec![strings])],
        sensor: None,
        every: STEP,
    });
    plant.site.latitude = Angle::from_deg(39.742);
    plant.site.longitude = Angle::from_deg(-105.18);
    plant.site.altitude_m = 1829.0;
    plant.planes[NORTH].tilt = Angle::from_deg(38.0);
    plant.planes[NORTH].azimuth = Angle::from_deg(180.0);
    let mast = |quantity: &Quantity| Channel {
        device: DeviceId::new("mast"),
        place: Place::Device,
        quantity: *quantity,
    };
    plant.channels = ChannelTable::new(given.iter().map(mast));
    plant
}

fn compare(given: &[Quantity]) -> Vec<Compared> {
    let plant = plant(given);
    let site = &plant.site;
    let observer = Observer::new(site.latitude, site.longitude, site.altitude_m);
    let mut ladder = Ladder::new(&plant);
    let mut before = SlotMeans::new(Time::from_unix_ms(0));
    let mut compared = Vec::new();
    for row in rows() {
        let sun = sky::sun_position(row.at, &observer);
        let zenith = sun.apparent_zenith;
        let closure = row.ghi - row.dni * zenith.rad().cos() - row.dhi;
        let is_closed = closure.abs() <= CLOSED.0 * row.ghi + CLOSED.1;
        let mut means = SlotMeans::new(row.at - STEP.half());
        for (id, channel) in plant.channels.iter() {
            let value = match channel.quantity {
                Quantity::Ghi => row.ghi,
                Quantity::Dni => row.dni,
                _ => row.dhi,
            };
            means.add(&Reading {
                channel: id,
                at: row.at,
                value: Value::judge(channel.quantity, value),
            });
        }
        let light = ladder.light(&Moment {
            slot: STEP,
            means: &means,
            before: &before,
            sync_ratio: 0.1,
            distrusted: &BTreeSet::new(),
        });
        before = means;
        let is_tested = 90.0 - zenith.deg() >= LEAST_ELEVATION_DEG
            && row.poa >= LEAST_POA_W_M2
            && sky::incidence(&sun, &plant.planes[NORTH]).deg() <= MOST_INCIDENCE_DEG
            && (is_closed || !given.contains(&Quantity::Dhi));
        if let (Some(plane), true) = (light.planes[NORTH], is_tested) {
            let (poa, sigma) = (
                plane.poa.w_m2(),
                // What lasts was fitted away.
                plane.sigma.total(Some(0.0)).hypot(plane.unsteady_ratio),
            );
            compared.push(Compared {
                z: (row.poa - poa) / (sigma * poa),
                ratio: row.poa / poa,
                diffuse_ratio: (1.0 - row.dni * zenith.rad().cos() / row.ghi).clamp(0.0, 1.0),
            });
        }
    }
    compared
}

#[test]
fn transposed_light_is_within_its_own_uncertainty() {
    let (mut missed, mut stale) = (Vec::new(), Vec::new());
    for (name, given, misses_today) in SETS {
        let compared = compare(given);
        let shares = Shares::of(&compared.iter().map(|c| c.z).collect::<Vec<_>>());
        println!(
            "{name:20} n {} 68 %: {:.1} 95 %: {:.1} median z {:+.2}",
            shares.count,
            100.0 * shares.within_68,
            100.0 * shares.within_95,
            shares.median_z
        );
        for (low, high) in [(0.0, 0.15), (0.15, 0.4), (0.4, 0.8), (0.8, 1.01)] {
            print_class(&compared, low, high);
        }
        match (passes(&shares), misses_today) {
            (true, true) => stale.push(name),
            (false, false) => missed.push(name),
            _ => {}
        }
    }
    assert!(missed.is_empty(), "outside the bar: {missed:?}");
    assert!(stale.is_empty(), "no longer to be left out: {stale:?}");
}

/// Median and half of the middle 68 % of measured over expected, by the diffuse share on the
/// ground.
fn print_class(compared: &[Compared], low: f64, high: f64) {
    let inside = |c: &&Compared| (low..high).contains(&c.diffuse_ratio);
    let ratios: Vec<f64> = compared.iter().filter(inside).map(|c| c.ratio).collect();
    if ratios.len() < 5 {
        return;
    }
    let at = |share| 100.0 * (quantile(ratios.clone(), share) - 1.0);
    println!(
        "    diffuse {low}-{high}: n {} median {:+.1} %, 1 sigma {:.1} %",
        ratios.len(),
        at(0.5),
        (at(0.84) - at(0.16)) / 2.0
    );
}
