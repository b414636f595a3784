//! The names under which a plant's channels, planes and inverters are stored, and the numbers that
//! the file gave them.
//!
//! A plant numbers its parts in the order of the site file; the file on disk keeps its own numbers
//! by name, so that a new order in the site file does not move a curve to another input.

use super::StoreError;
use analysis::plant::Plant;
use analysis::reading::{Channel, ChannelTable, DeviceId};
use rusqlite::{Connection, OptionalExtension};
use std::collections::BTreeMap;

/// The parts of a plant that slots and readings refer to, in the plant's order.
#[derive(Debug, Clone, PartialEq)]
pub struct Layout {
    /// Names of the planes.
    pub planes: Vec<String>,
    /// Inverters with the numbers of their inputs.
    pub inverters: Vec<(DeviceId, Vec<u8>)>,
    /// Channels.
    pub channels: ChannelTable,
}

impl Layout {
    /// The layout of a plant.
    pub fn of(plant: &Plant) -> Self {
        let inverters = plant.inverters.iter().map(|inverter| {
            let inputs = inverter.inputs.iter().map(|input| input.number);
            (inverter.id.clone(), inputs.collect())
        });
        Self {
            planes: plant.planes.iter().map(|plane| plane.id.clone()).collect(),
            inverters: inverters.collect(),
            channels: plant.channels.clone(),
        }
    }
}

impl Layout {
    /// Of channels alone, without the slots of a plant.
    pub fn of_channels(channels: impl IntoIterator<Item = Channel>) -> Self {
        Self {
            planes: Vec::new(),
            inverters: Vec::new(),
            channels: ChannelTable::new(channels),
        }
    }
}

/// The file's numbers, in the order of a [`Layout`]; `None` where the file has never seen the name.
#[derive(Debug)]
pub(super) struct Numbers {
    pub channels: Vec<Option<i64>>,
    pub planes: Vec<Option<i64>>,
    pub inverters: Vec<Option<i64>>,
}

/// Gives a number to every name that has none yet.
pub(super) fn register(db: &mut Connection, layout: &Layout) -> Result<(), StoreError> {
    let doing = "register the plant's channels";
    let change = db.transaction().map_err(StoreError::at(doing))?;
    for (table, names) in tables(layout) {
        let sql = format!(
            "INSERT INTO {0} ({1}) SELECT ?1 WHERE NOT EXISTS (SELECT 1 FROM {0} WHERE {1} = ?1)",
            table.name, table.column
        );
        for name in names {
            change
                .prepare_cached(&sql)
                .and_then(|mut insert| insert.execute([name]))
                .map_err(StoreError::at(doing))?;
        }
    }
    change.commit().map_err(StoreError::at(doing))
}

impl Numbers {
    /// Looks the names up.
    pub fn load(db: &Connection, layout: &Layout) -> Result<Self, StoreError> {
        let [channels, planes, inverters] = tables(layout);
        Ok(Self {
            channels: look_up(db, &channels)?,
            planes: look_up(db, &planes)?,
            inverters: look_up(db, &inverters)?,
        })
    }
}

/// From the file's number back to the place in the layout.
pub(super) fn places(numbers: &[Option<i64>]) -> BTreeMap<i64, usize> {
    let places = numbers.iter().enumerate();
    places.filter_map(|(i, n)| n.map(|n| (n, i))).collect()
}

struct Table {
    name: &'static str,
    column: &'static str,
}

const CHANNEL: Table = Table {
    name: "channel",
    column: "address",
};
const PLANE: Table = Table {
    name: "plane",
    column: "name",
};
const INVERTER: Table = Table {
    name: "inverter",
    column: "name",
};

fn tables(layout: &Layout) -> [(Table, Vec<String>); 3] {
    let addresses = layout.channels.iter().map(|(_, c)| c.to_string());
    let inverters = layout.inverters.iter().map(|(id, _)| id.to_string());
    [
        (CHANNEL, addresses.collect()),
        (PLANE, layout.planes.clone()),
        (INVERTER, inverters.collect()),
    ]
}

fn look_up(
    db: &Connection,
    (table, names): &(Table, Vec<String>),
) -> Result<Vec<Option<i64>>, StoreError> {
    let sql = format!("SELECT id FROM {} WHERE {} = ?1", table.name, table.column);
    let number = |name: &String| {
        db.prepare_cached(&sql)
            .and_then(|mut select| select.query_row([name], |row| row.get(0)).optional())
            .map_err(StoreError::at("look up the plant's channels"))
    };
    names.iter().map(number).collect()
}
