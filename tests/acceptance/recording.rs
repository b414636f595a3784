//! Recordings of real plants, read whole.
//! Kind of truth: reference. Counts, sums and ends of the columns were taken from the files by
//! splitting their lines at the commas in another language, without any of this code and without a
//! CSV library: `[float(r[i]) for r in rows if r[i]]`, then `len`, `sum`, `min`, `max`.
//! Data: tests/data/nrel_pvanalytics/*.source.toml.

use analysis::reading::{ChannelId, Quantity, Reading, Span, Time};
use daemon::source::recording::{
    ColumnCount, ColumnMap, IntervalStamp, Recording, RecordingSettings, Row, SkipReport,
};
use std::path::Path;

/// The published files say nothing about the zone; a fixed one keeps every row.
const ZONE: chrono_tz::Tz = chrono_tz::Tz::Etc__GMTPlus7;

/// Both sides add fewer than 600 numbers in double precision; the order of adding and its
/// compensation may differ by this much of the sum and no more.
const SUM_TOLERANCE_RATIO: f64 = 1e-12;

/// What the other program found in a column, in the unit of the file.
struct Column {
    header: &'static str,
    quantity: Quantity,
    scale: f64,
    missing: u64,
    sum: f64,
    min: f64,
    max: f64,
}

fn read(file: &str, time_column: &str, columns: &[Column]) -> (Vec<Row>, SkipReport) {
    let data = Path::new(env!("CARGO_MANIFEST_DIR")).join("data/nrel_pvanalytics");
    let map = |(i, column): (usize, &Column)| ColumnMap {
        header: column.header.to_owned(),
        channel: ChannelId(i as u16),
        quantity: column.quantity,
        scale: column.scale,
        offset: 0.0,
    };
    let settings = RecordingSettings {
        file: data.join(file),
        time_column: time_column.to_owned(),
        time_format: Some("%m/%d/%Y %H:%M".to_owned()),
        timezone: ZONE,
        interval: IntervalStamp::Start,
        interval_span: Span::from_min(15),
        columns: columns.iter().enumerate().map(map).collect(),
    };
    let mut recording = Recording::open(&settings).expect("the file and its columns are there");
    let rows = recording.by_ref().map(|row| row.expect("readable"));
    (rows.collect(), recording.report().clone())
}

fn assert_whole(rows: &[Row], report: &SkipReport, columns: &[Column], wanted: u64) {
    assert_eq!(rows.len() as u64, wanted);
    assert_eq!((report.rows_read, report.rows_used), (wanted, wanted));
    assert!(report.skipped.is_empty() && report.remarks.is_empty());
    for (i, column) in columns.iter().enumerate() {
        let count = ColumnCount {
            header: column.header.to_owned(),
            good: wanted - column.missing,
            missing: column.missing,
            not_a_number: 0,
            out_of_range: 0,
        };
        assert_eq!(report.columns[i], count);
        assert_numbers(rows, i, column);
    }
    let quarter = Span::from_min(15);
    assert!(rows.windows(2).all(|two| two[1].at - two[0].at == quarter));
}

fn assert_numbers(rows: &[Row], i: usize, column: &Column) {
    let good = |reading: &Reading| reading.value.good();
    let values: Vec<f64> = rows.iter().filter_map(|r| good(&r.readings[i])).collect();
    let sum = values.iter().sum::<f64>();
    let off = (sum / (column.sum * column.scale) - 1.0).abs();
    assert!(off <= SUM_TOLERANCE_RATIO, "{}: {sum}", column.header);
    let min = values.iter().copied().fold(f64::INFINITY, f64::min);
    let max = values.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let ends = (column.min * column.scale, column.max * column.scale);
    assert_eq!((min, max), ends, "{}", column.header);
}

#[test]
fn a_week_of_snow_with_empty_nights_is_read_whole() {
    let column = |header, quantity, scale, missing, (sum, min, max)| Column {
        header,
        quantity,
        scale,
        missing,
        sum,
        min,
        max,
    };
    let voltage = (140_376.739_3, 199.4125, 749.3061);
    let current = (877.748_949_044_999_7, 0.0, 19.22781);
    let power = (1_637.280_200_439_999_6, 0.0, 38.32774);
    let poa = (41_109.634_505_319_984, -6.316714, 849.4475);
    let module = (-1_926.417_671_657_001_2, -18.94737, 19.63173);
    let columns = [
        column(
            "INV1 CB2 Voltage [V]",
            Quantity::DcVoltage,
            1.0,
            343,
            voltage,
        ),
        column(
            "INV1 CB2 Current [A]",
            Quantity::DcCurrent,
            1.0,
            343,
            current,
        ),
        column("INV1 AC Power [kW]", Quantity::AcPower, 1000.0, 343, power),
        column("POA [W/m²]", Quantity::Poa, 1.0, 0, poa),
        column(
            "Module Temp [C]",
            Quantity::ModuleTemperature,
            1.0,
            0,
            module,
        ),
    ];
    let (rows, report) = read("snow_data.csv", "Timestamp", &columns);
    assert_whole(&rows, &report, &columns, 576);
    // 1/5/2022 0:00 seven hours west of Greenwich, plus half a quarter: 18 997 days after 1970
    // (52 years with 13 leap days, and 4 days), 7 h 7 min 30 s.
    let first = Time::from_unix_ms((18_997 * 86_400 + 7 * 3600 + 450) * 1000);
    assert_eq!((rows[0].line, rows[0].at), (2, first));
}

#[test]
fn a_time_column_without_a_header_is_found() {
    let column = |header, quantity, (sum, min, max)| Column {
        header,
        quantity,
        scale: 1.0,
        missing: 0,
        sum,
        min,
        max,
    };
    let voltage = (82_810.179_391_999_95, 3.600098, 479.5401);
    let current = (15_981.577_490_000_003, 0.0, 223.9135);
    let power = (5_823_547.066_000_001, 0.0, 87_153.49);
    let poa = (48_752.937_195_000_01, 0.0, 589.2948);
    let air = (-542.046_834_440_000_5, -16.69367, 17.33408);
    let columns = [
        column("inv2_dc_voltage__1048", Quantity::DcVoltage, voltage),
        column("inv2_dc_current__1049", Quantity::DcCurrent, current),
        column("inv2_ac_power_w__1047", Quantity::AcPower, power),
        column("poa_irradiance__1055", Quantity::Poa, poa),
        column("ambient_temp__1053", Quantity::AirTemperature, air),
    ];
    let (rows, report) = read("nrel_RSF_II.csv", "", &columns);
    assert_whole(&rows, &report, &columns, 480);
}
