//! How much room what needs on the disk.

use crate::store::query::{each_row, get};
use crate::store::{Store, StoreError};

/// A table with its indexes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Size {
    /// Name.
    pub table: String,
    /// Whole pages.
    pub bytes: i64,
    /// What it holds: rows, or of packed tables single readings or cells.
    pub values: i64,
}

impl Store {
    /// What readings, their aggregates and slots need. Reads all of it.
    pub fn sizes(&self) -> Result<Vec<Size>, StoreError> {
        let mut sizes = Vec::new();
        let sql = "SELECT s.tbl_name AS name, sum(d.pgsize) AS bytes
                   FROM dbstat d JOIN sqlite_schema s ON d.name = s.name
                   WHERE d.aggregate = TRUE AND s.tbl_name IN
                       ('reading', 'reading_day', 'minute_day', 'hour_day', 'slot', 'plane_slot',
                        'inverter_slot', 'input_slot')
                   GROUP BY 1 ORDER BY 1";
        each_row(self.settled()?, sql, [], |row| {
            sizes.push(Size {
                table: get(row, "name")?,
                bytes: get(row, "bytes")?,
                values: 0,
            });
            Ok(())
        })?;
        for size in &mut sizes {
            size.values = self.values_in(&size.table)?;
        }
        Ok(sizes)
    }

    fn values_in(&self, table: &str) -> Result<i64, StoreError> {
        let db = self.settled()?;
        let mut values = 0;
        let column = match table {
            "reading_day" => "readings",
            "minute_day" | "hour_day" => "cells",
            rows => {
                each_row(
                    db,
                    &format!("SELECT count(*) AS n FROM {rows}"),
                    [],
                    |row| {
                        values = get(row, "n")?;
                        Ok(())
                    },
                )?;
                return Ok(values);
            }
        };
        each_row(db, &format!("SELECT {column} FROM {table}"), [], |row| {
            values += rows_of(&get::<Vec<u8>>(row, column)?)?;
            Ok(())
        })?;
        Ok(values)
    }
}

/// The count that every packed value begins with.
fn rows_of(bytes: &[u8]) -> Result<i64, StoreError> {
    let rows = super::blob::unpacked_first::<u32>(bytes);
    let rows = rows.map_err(|error| crate::store::query::undecodable("packed value", error.0))?;
    Ok(i64::from(rows))
}
