//! Rows of an export as Apache Parquet, a row group for each channel. Never in here: which rows.

use super::row::{COUNTS, NUMBERS, Row};
use super::{ChannelRows, RowsError};
use parquet::basic::Compression;
use parquet::data_type::{ByteArray, ByteArrayType, DataType, DoubleType, Int32Type, Int64Type};
use parquet::errors::ParquetError;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::{SerializedFileWriter, SerializedRowGroupWriter};
use parquet::schema::parser::parse_message_type;
use std::io::Write;
use std::sync::Arc;

type Group<'a> = SerializedRowGroupWriter<'a, Vec<u8>>;

pub(super) fn write(to: &mut dyn Write, rows: &[ChannelRows]) -> Result<(), RowsError> {
    let schema = Arc::new(parse_message_type(&schema())?);
    let properties = WriterProperties::builder().set_compression(Compression::SNAPPY);
    let properties = Arc::new(properties.build());
    // A file of a device and day is small, and its writer wants to own where it writes.
    let mut file = SerializedFileWriter::new(Vec::new(), schema, properties)?;
    for (channel, rows) in rows {
        let mut group = file.next_row_group()?;
        write_group(&mut group, channel, rows)?;
        group.close()?;
    }
    Ok(to.write_all(&file.into_inner()?)?)
}

fn schema() -> String {
    let numbers = NUMBERS.map(|name| format!("optional double {name};"));
    let counts = COUNTS.map(|name| format!("required int32 {name};"));
    format!(
        "message export {{
             required int64 at_utc (TIMESTAMP(MILLIS, true));
             required binary channel (STRING);
             required int32 span_s;
             {} {}
         }}",
        numbers.concat(),
        counts.concat()
    )
}

fn write_group(group: &mut Group<'_>, channel: &str, rows: &[Row]) -> Result<(), ParquetError> {
    let times: Vec<i64> = rows.iter().map(|row| row.at.unix_ms()).collect();
    column::<Int64Type>(group, &times, None)?;
    let name = vec![ByteArray::from(channel); rows.len()];
    column::<ByteArrayType>(group, &name, None)?;
    let spans: Vec<i32> = rows.iter().map(|row| row.span_s).collect();
    column::<Int32Type>(group, &spans, None)?;
    for i in 0..NUMBERS.len() {
        let there: Vec<f64> = rows.iter().filter_map(|row| row.numbers[i]).collect();
        let levels = rows.iter().map(|row| i16::from(row.numbers[i].is_some()));
        column::<DoubleType>(group, &there, Some(&levels.collect::<Vec<i16>>()))?;
    }
    for i in 0..COUNTS.len() {
        let counts: Vec<i32> = rows.iter().map(|row| row.counts[i] as i32).collect();
        column::<Int32Type>(group, &counts, None)?;
    }
    Ok(())
}

/// The next column of the group; `levels` say for an optional one which rows have a value.
fn column<T: DataType>(
    group: &mut Group<'_>,
    values: &[T::T],
    levels: Option<&[i16]>,
) -> Result<(), ParquetError> {
    let next = group.next_column()?;
    let mut column = next.expect("the columns are written in the order of the schema, once each");
    column.typed::<T>().write_batch(values, levels, None)?;
    column.close()
}
