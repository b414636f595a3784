//! Two real recordings: however they are delivered and wherever the program restarts, the engine
//! tells the same. Data and licences: tests/data/nrel_pvanalytics/*.source.toml. The facts of the
//! arrays are only partly published; what is missing is made up so that it fits in size, which is
//! enough here: what is found in them is no matter of this test.

use crate::drive::{Poll, account, assert_same, end_of, in_batches, one_by_one, with_ticks_every};
use crate::resume::with_restarts;
use analysis::plant::Plant;
use analysis::reading::{Angle, Channel, ChannelTable, Current, Power, Span};
use daemon::source::recording::{ColumnMap, IntervalStamp, Recording, RecordingSettings};
use std::path::Path;
use std::sync::Arc;
use tests::plant::{NORTH, Shape, Strings};

const INTERVAL: Span = Span::from_min(15);

/// A column of the file, what it holds, and the factor to its unit.
type Column = (&'static str, &'static str, f64);

struct Site {
    file: &'static str,
    time_column: &'static str,
    latitude_deg: f64,
    longitude_deg: f64,
    rated_w: f64,
    strings: Strings,
    columns: &'static [Column],
}

const ROOF: Site = Site {
    file: "nrel_RSF_II.csv",
    time_column: "",
    latitude_deg: 39.7,
    longitude_deg: -105.2,
    rated_w: 150_000.0,
    strings: Strings {
        parallel: 60,
        modules: 11,
        plane: NORTH,
    },
    columns: &[
        ("inv2_dc_voltage__1048", "inv-1/input-1/dc_voltage_v", 1.0),
        ("inv2_dc_current__1049", "inv-1/input-1/dc_current_a", 1.0),
        ("inv2_ac_power_w__1047", "inv-1/ac_power_w", 1.0),
        ("poa_irradiance__1055", "mast/poa_w_m2", 1.0),
        ("ambient_temp__1053", "mast/air_temperature_degc", 1.0),
        ("module_temp__1056", "mast/module_temperature_degc", 1.0),
    ],
};

const FIELD: Site = Site {
    file: "snow_data.csv",
    time_column: "Timestamp",
    latitude_deg: 42.0,
    longitude_deg: -75.0,
    rated_w: 40_000.0,
    strings: Strings {
        parallel: 4,
        modules: 18,
        plane: NORTH,
    },
    columns: &[
        ("INV1 CB2 Voltage [V]", "inv-1/input-1/dc_voltage_v", 1.0),
        ("INV1 CB2 Current [A]", "inv-1/input-1/dc_current_a", 1.0),
        ("INV1 AC Power [kW]", "inv-1/ac_power_w", 1000.0),
        ("POA [W/m²]", "mast/poa_w_m2", 1.0),
        ("Ambient Temp [C]", "mast/air_temperature_degc", 1.0),
        ("Module Temp [C]", "mast/module_temperature_degc", 1.0),
    ],
};

fn plant(site: &Site) -> Plant {
    let mut plant = tests::plant::plant(&Shape {
        inverters: vec![(site.rated_w, vec![site.strings])],
        sensor: Some(NORTH),
        every: INTERVAL,
    });
    plant.site.latitude = Angle::from_deg(site.latitude_deg);
    plant.site.longitude = Angle::from_deg(site.longitude_deg);
    // North of the equator planes look south.
    plant.planes[NORTH].azimuth = Angle::from_deg(180.0);
    plant.inverters[0].inputs[0].max_operating_current = Current::from_a(400.0);
    plant.inverters[0].rated_ac = Power::from_w(site.rated_w);
    let channel = |(_, address, _): &Column| address.parse::<Channel>().expect("an address");
    plant.channels = ChannelTable::new(site.columns.iter().map(channel));
    plant
}

fn read(site: &Site) -> (Arc<Plant>, Vec<Poll>) {
    let plant = Arc::new(plant(site));
    let column = |(header, address, scale): &Column| {
        let channel: Channel = address.parse().expect("an address");
        ColumnMap {
            header: (*header).to_owned(),
            channel: plant.channels.id(&channel).expect("of this plant"),
            quantity: channel.quantity,
            scale: *scale,
            offset: 0.0,
        }
    };
    let settings = RecordingSettings {
        file: Path::new(env!("CARGO_MANIFEST_DIR"))
            .join("data/nrel_pvanalytics")
            .join(site.file),
        time_column: site.time_column.to_owned(),
        time_format: Some("%m/%d/%Y %H:%M".to_owned()),
        timezone: chrono_tz::Tz::Etc__GMTPlus7,
        interval: IntervalStamp::Start,
        interval_span: INTERVAL,
        columns: site.columns.iter().map(column).collect(),
    };
    let rows = Recording::open(&settings).expect("the file and its columns are there");
    let polls = rows
        .map(|row| row.expect("readable"))
        .map(|row| (row.at, row.readings));
    (plant.clone(), polls.collect())
}

fn assert_delivery_is_no_matter(site: &Site, rows: usize) {
    let (plant, polls) = read(site);
    assert_eq!(polls.len(), rows);
    let end = end_of(&plant, &polls);
    let live = account(&plant, one_by_one(&polls), end);
    assert!(
        !live.findings.is_empty(),
        "nothing to compare in {}",
        site.file
    );
    let expected = |slot: &&analysis::detect::Slot| slot.inverters[0].expected_ac_power.is_some();
    assert!(live.slots.iter().filter(expected).count() > rows / 4);
    for size in [10, 96, rows] {
        let told = account(&plant, in_batches(&polls, size), end);
        assert_same(&told, &live, &format!("{}, batches of {size}", site.file));
    }
    let seconds = account(&plant, with_ticks_every(&polls, Span::from_s(1)), end);
    assert_same(&seconds, &live, &format!("{}, a tick a second", site.file));
    let restarted = with_restarts(&plant, &polls, |row| row % 100 == 0);
    assert_same(&restarted, &live, &format!("{}, restarts", site.file));
}

#[test]
fn a_roof_in_winter() {
    assert_delivery_is_no_matter(&ROOF, 480);
}

#[test]
fn a_field_under_snow() {
    assert_delivery_is_no_matter(&FIELD, 576);
}
