//! Bad rows, odd rows and clocks that change: every row is accounted for.
//! Kind of truth: property, and times worked out by hand beside each case.

use super::*;
use analysis::reading::{Time, Value};
use std::io::Cursor;

const QUARTER: Span = Span::from_min(15);

fn settings(time_format: Option<&str>, interval: IntervalStamp) -> RecordingSettings {
    let column = |header: &str, channel, quantity| ColumnMap {
        header: header.to_owned(),
        channel: ChannelId(channel),
        quantity,
        scale: 1.0,
        offset: 0.0,
    };
    RecordingSettings {
        file: PathBuf::from("site.csv"),
        time_column: "time".to_owned(),
        time_format: time_format.map(str::to_owned),
        timezone: Tz::Europe__Berlin,
        interval,
        interval_span: QUARTER,
        columns: vec![
            column("Udc", 0, Quantity::DcVoltage),
            column("Poa", 1, Quantity::Poa),
        ],
    }
}

fn utc() -> RecordingSettings {
    settings(None, IntervalStamp::Instant)
}

fn local() -> RecordingSettings {
    settings(Some("%d.%m.%Y %H:%M"), IntervalStamp::Instant)
}

/// All rows and the report; fails unless every line after the header is used or skipped.
fn read(text: &[u8], settings: &RecordingSettings) -> (Vec<Row>, SkipReport) {
    let mut recording = Recording::new(Cursor::new(text), settings).expect("the header holds");
    let rows: Vec<Row> = recording
        .by_ref()
        .map(|row| row.expect("there are rows to use"))
        .collect();
    let report = recording.report().clone();
    assert_accounted(text, &report);
    assert_eq!(report.rows_used, rows.len() as u64);
    for column in &report.columns {
        let fields = column.good + column.missing + column.not_a_number + column.out_of_range;
        assert_eq!(fields, report.rows_used, "column {}", column.header);
    }
    (rows, report)
}

fn assert_accounted(text: &[u8], report: &SkipReport) {
    let lines = text.split_inclusive(|byte| *byte == b'\n').count() as u64;
    assert_eq!(report.rows_read, lines - 1);
    assert_eq!(report.rows_read, report.rows_used + report.rows_skipped());
}

fn lines(total: u64, first: &[u64]) -> Lines {
    Lines {
        total,
        first: first.to_vec(),
    }
}

fn values(row: &Row) -> Vec<Value> {
    row.readings.iter().map(|reading| reading.value).collect()
}

/// Milliseconds of an RFC 3339 time, by the calendar crate's own parser.
fn time(text: &str) -> Time {
    let time = chrono::DateTime::parse_from_rfc3339(text).expect("RFC 3339");
    Time::from_unix_ms(time.timestamp_millis())
}

#[test]
fn every_bad_row_is_counted_with_its_line_and_the_rest_is_used() {
    let mut text = b"time,Poa,note,Udc\n\
        2024-06-01T10:00:00Z,800,ok,600\n\
        2024-06-01T10:15:00Z,800,too few\n\
        2024-06-01T10:30:00Z,800,a,600,too many\n\
        \n\
        yesterday,800,ok,600\n\
        2024-06-01T11:00:00Z,800,\"never closed,600\n\
        2024-06-01T11:15:00Z,800,\"a, comma\",600\r\n\
        2024-06-01T11:30:00Z,800,"
        .to_vec();
    text.extend_from_slice(b"\xff\xfe,600\n"); // line 9: no UTF-8
    text.resize(text.len() + (1 << 20), b'x'); // line 10: as long as no row
    text.extend_from_slice(b"xxx\n2024-06-01T12:00:00+02:00,800,the last line has no end,600");
    let (rows, report) = read(&text, &utc());

    let used: Vec<u64> = rows.iter().map(|row| row.line).collect();
    assert_eq!(used, [2, 8, 11]);
    assert_eq!(rows[1].at, time("2024-06-01T11:15:00Z"));
    assert_eq!(rows[2].at, time("2024-06-01T10:00:00Z"));
    for row in &rows {
        assert_eq!(values(row), [Value::Good(600.0), Value::Good(800.0)]);
    }
    let skipped: Vec<_> = report.skipped.into_iter().collect();
    let wanted = [
        (SkipReason::Blank, lines(1, &[5])),
        (SkipReason::LineTooLong, lines(1, &[10])),
        (SkipReason::NotUtf8, lines(1, &[9])),
        (SkipReason::BadQuotes, lines(1, &[7])),
        (SkipReason::FieldCount, lines(2, &[3, 4])),
        (SkipReason::TimeUnreadable, lines(1, &[6])),
    ];
    assert_eq!(skipped, wanted);
    assert_eq!(report.remarks[&Remark::TimeWentBack], lines(1, &[11]));
}

#[test]
fn a_bad_field_costs_the_field_and_not_the_row() {
    let text = b"time,Udc,Poa\n\
        2024-06-01T10:00:00Z,,100\n\
        2024-06-01T10:01:00Z, NaN ,100\n\
        2024-06-01T10:02:00Z,NULL,100\n\
        2024-06-01T10:03:00Z,inf,100\n\
        2024-06-01T10:04:00Z,\"600,5\",100\n\
        2024-06-01T10:05:00Z,65535,100\n\
        2024-06-01T10:06:00Z,6e2,100\n";
    let (rows, report) = read(text, &utc());
    let udc: Vec<Value> = rows.iter().map(|row| values(row)[0]).collect();
    let mut wanted = vec![Value::Missing; 5];
    wanted.extend([Value::OutOfRange(65535.0), Value::Good(600.0)]);
    assert_eq!(udc, wanted);
    assert!(rows.iter().all(|row| values(row)[1] == Value::Good(100.0)));
    let column = ColumnCount {
        header: "Udc".to_owned(),
        good: 1,
        missing: 4,
        not_a_number: 1,
        out_of_range: 1,
    };
    assert_eq!(report.columns[0], column);
    assert_eq!(report.remarks[&Remark::NotANumber], lines(1, &[6]));
    assert_eq!(report.remarks[&Remark::OutOfRange], lines(1, &[7]));
}

#[test]
fn values_are_scaled_before_they_are_judged() {
    let mut settings = utc();
    settings.columns[0].scale = 1000.0; // kV in the file
    settings.columns[0].offset = -0.5;
    let (rows, _) = read(b"time,Udc,Poa\n2024-06-01T10:00:00Z,0.6,1\n", &settings);
    assert_eq!(values(&rows[0])[0], Value::Good(599.5));
}

#[test]
fn a_mean_carries_the_middle_of_its_interval() {
    let text = b"time,Udc,Poa\n2024-06-01T10:00:00Z,1,1\n";
    let at = |interval| read(text, &settings(None, interval)).0[0].at;
    assert_eq!(at(IntervalStamp::Instant), time("2024-06-01T10:00:00Z"));
    assert_eq!(at(IntervalStamp::Start), time("2024-06-01T10:07:30Z"));
    assert_eq!(at(IntervalStamp::End), time("2024-06-01T09:52:30Z"));
}

/// In 2024 clocks in Berlin went from 02:00 to 03:00 on 31 March (Directive 2000/84/EC, article 2:
/// the last Sunday of March, 01:00 UTC).
#[test]
fn a_local_time_in_the_spring_gap_is_skipped() {
    let text = b"time,Udc,Poa\n\
        31.03.2024 01:45,1,1\n\
        31.03.2024 02:00,1,1\n\
        31.03.2024 02:59,1,1\n\
        31.03.2024 03:00,1,1\n";
    let (rows, report) = read(text, &local());
    let at: Vec<Time> = rows.iter().map(|row| row.at).collect();
    let wanted = [time("2024-03-31T00:45:00Z"), time("2024-03-31T01:00:00Z")];
    assert_eq!(at, wanted);
    let gap = SkipReason::TimeDoesNotExist;
    assert_eq!(report.skipped[&gap], lines(2, &[3, 4]));
}

/// In 2024 clocks in Berlin went from 03:00 to 02:00 on 27 October (same directive, article 3).
#[test]
fn the_autumn_hour_that_comes_twice_is_told_apart_by_row_order() {
    let text = b"time,Udc,Poa\n\
        27.10.2024 01:30,1,1\n\
        27.10.2024 02:00,1,1\n\
        27.10.2024 02:30,1,1\n\
        27.10.2024 02:00,1,1\n\
        27.10.2024 02:30,1,1\n\
        27.10.2024 03:00,1,1\n";
    let (rows, report) = read(text, &local());
    let gaps: Vec<Span> = rows.windows(2).map(|two| two[1].at - two[0].at).collect();
    assert_eq!(gaps, [Span::from_min(30); 5]);
    assert_eq!(rows[0].at, time("2024-10-26T23:30:00Z"));
    let twice = lines(4, &[3, 4, 5, 6]);
    assert_eq!(report.remarks[&Remark::TimeAmbiguous], twice);
    assert_eq!(report.remarks.len(), 1, "the times rise");
}

#[test]
fn hourly_rows_repeat_one_local_time_in_autumn_and_do_not_in_the_next_year() {
    let text = b"time,Udc,Poa\n\
        27.10.2024 02:00,1,1\n\
        27.10.2024 02:00,1,1\n\
        26.10.2025 02:00,1,1\n";
    let (rows, report) = read(text, &local());
    let at: Vec<Time> = rows.iter().map(|row| row.at).collect();
    let wanted = [
        time("2024-10-27T00:00:00Z"),
        time("2024-10-27T01:00:00Z"),
        time("2025-10-26T00:00:00Z"),
    ];
    assert_eq!(at, wanted);
    assert!(!report.remarks.contains_key(&Remark::TimeRepeated));
}

#[test]
fn a_time_with_its_own_offset_needs_no_zone() {
    let text = b"time,Udc,Poa\n27.10.2024 02:30 +0100,1,1\n27.10.2024 02:30 +0200,1,1\n";
    let format = settings(Some("%d.%m.%Y %H:%M %z"), IntervalStamp::Instant);
    let (rows, report) = read(text, &format);
    assert_eq!(rows[0].at, time("2024-10-27T01:30:00Z"));
    assert_eq!(rows[1].at, time("2024-10-27T00:30:00Z"));
    assert_eq!(report.remarks[&Remark::TimeWentBack], lines(1, &[3]));

    let seconds = settings(Some("%s"), IntervalStamp::Instant);
    let (rows, _) = read(b"time,Udc,Poa\n1709284500,1,1\n", &seconds);
    assert_eq!(rows[0].at, time("2024-03-01T09:15:00Z"));
}

#[test]
fn repeated_and_earlier_times_are_used_and_counted() {
    let text = b"time,Udc,Poa\n\
        2024-06-01T10:00:00Z,1,1\n\
        2024-06-01T10:00:00Z,1,1\n\
        2024-06-01T09:00:00Z,1,1\n";
    let (rows, report) = read(text, &utc());
    assert_eq!(rows.len(), 3);
    assert_eq!(report.remarks[&Remark::TimeRepeated], lines(1, &[3]));
    assert_eq!(report.remarks[&Remark::TimeWentBack], lines(1, &[4]));
}

#[test]
fn only_the_first_lines_are_listed_and_all_are_counted() {
    let text = [
        "time,Udc,Poa\n".to_owned(),
        "bad,1,1\n".repeat(9),
        "2024-06-01T10:00:00Z,,1\n".to_owned(),
    ];
    let (_, report) = read(text.concat().as_bytes(), &utc());
    assert_eq!(
        report.to_string(),
        "10 rows read, 1 used\n  skipped, time not readable: 9 (line 2, 3, 4, 5, 6, ...)\n  \
         column \"Udc\": 1 missing"
    );
}

#[test]
fn headers_are_found_behind_a_byte_order_mark_and_in_latin_1() {
    let row = "\r\n2024-06-01T10:00:00Z,1,2\r\n";
    let marked = format!("\u{feff}time,Udc,Poa{row}");
    assert_eq!(read(marked.as_bytes(), &utc()).0.len(), 1);

    let mut settings = utc();
    settings.columns[1].header = "Poa [W/m²]".to_owned();
    let latin_1 = [b"time,Udc,\"Poa [W/m\xb2]\"", row.as_bytes()].concat();
    let (rows, _) = read(&latin_1, &settings);
    assert_eq!(values(&rows[0]), [Value::Good(1.0), Value::Good(2.0)]);
}

#[test]
fn a_header_that_does_not_fit_is_refused_with_what_is_there() {
    let refuse = |text: &str, settings: &RecordingSettings| {
        let refused = Recording::new(Cursor::new(text.to_owned()), settings).err();
        refused.expect("it does not fit").to_string()
    };
    assert_eq!(
        refuse("time,Udc,irradiance\n", &utc()),
        r#"find ["Poa"] in the header of site.csv; it has ["time", "Udc", "irradiance"]"#
    );
    assert_eq!(
        refuse("time,Udc,Poa,Udc\n", &utc()),
        r#"choose between 2 columns "Udc" of site.csv"#
    );
    let blank = "read the header of site.csv: blank";
    assert_eq!(refuse("", &utc()), blank);
    assert_eq!(refuse("\n2024-06-01T10:00:00Z,1,2\n", &utc()), blank);
    let no_format = settings(Some("%Y-%Q"), IntervalStamp::Instant);
    assert_eq!(
        refuse("time,Udc,Poa\n", &no_format),
        r#"understand time_format "%Y-%Q""#
    );
}

#[test]
fn a_recording_without_one_usable_row_is_an_error_once() {
    for text in ["time,Udc,Poa\n", "time,Udc,Poa\nnever,1,2\n\n"] {
        let mut recording = Recording::new(Cursor::new(text), &utc()).expect("the header holds");
        match recording.next() {
            Some(Err(RecordingError::NoUsableRows { report, .. })) => {
                assert_accounted(text.as_bytes(), &report);
            }
            other => panic!("no row can be used, got {other:?}"),
        }
        assert!(recording.next().is_none());
    }
}

#[test]
fn a_file_that_is_not_there_is_an_error() {
    let mut settings = utc();
    settings.file = PathBuf::from("no/such/file.csv");
    let refused = Recording::open(&settings).err();
    let refused = refused.expect("there is no such file");
    assert!(matches!(refused, RecordingError::CannotOpen { .. }));
}

/// Gives some bytes, then the error of a disk that went away.
struct BreaksOff<'a>(&'a [u8]);

impl std::io::Read for BreaksOff<'_> {
    fn read(&mut self, into: &mut [u8]) -> std::io::Result<usize> {
        match self.0.read(into)? {
            0 => Err(std::io::ErrorKind::ConnectionReset.into()),
            n => Ok(n),
        }
    }
}

#[test]
fn a_file_that_breaks_off_is_an_error_after_the_rows_before_it() {
    let text = b"time,Udc,Poa\n2024-06-01T10:00:00Z,1,2\n2024-06-01T10:15";
    let input = std::io::BufReader::new(BreaksOff(text));
    let mut recording = Recording::new(input, &utc()).expect("the header holds");
    assert!(matches!(recording.next(), Some(Ok(Row { line: 2, .. }))));
    match recording.next() {
        Some(Err(RecordingError::CannotRead { line: 2, .. })) => {}
        other => panic!("the disk went away, got {other:?}"),
    }
    assert!(recording.next().is_none());
}
