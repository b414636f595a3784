//! Exported files against what was put in.

use crate::{
    DAYS_BACK, READINGS, channels, daemon_folder, midnight, noonmark, site_file, text, value,
};
use analysis::reading::{Span, Value};
use serde_json::{Value as Json, json};
use std::path::Path;
use tests::judged;

/// What stands in a row behind file, time and channel.
type Numbers = (i32, [Option<f64>; 5], [i64; 4]);

#[test]
fn other_libraries_read_the_same_values_from_csv_and_parquet() {
    let folder = daemon_folder();
    for format in ["csv", "parquet"] {
        let out = folder.path().join(format);
        let ended = export(folder.path(), &out, ("2026-03-01", "2026-04-30"), format);
        assert_eq!(ended.code, Some(0), "{}", ended.err);
        assert_eq!(ended.err, "", "no progress without a terminal");
        let rows = read(&out, format);
        assert_eq!(rows, wanted(), "{format}");
        let said = format!("{}: 4 files, {} rows\n", out.display(), rows.len());
        assert_eq!(ended.out, said);
    }
}

#[test]
fn only_the_days_that_were_asked_for_are_written() {
    let folder = daemon_folder();
    let out = folder.path().join("some");
    let ended = export(folder.path(), &out, ("2026-04-20", "2026-04-28"), "csv");
    assert_eq!(ended.code, Some(0), "{}", ended.err);
    let files = std::fs::read_dir(&out)
        .expect("a folder")
        .map(|file| file.expect("readable"));
    let mut names: Vec<_> = files
        .map(|f| f.file_name().into_string().expect("plain"))
        .collect();
    names.sort();
    let device = channels()[0]
        .0
        .split('/')
        .next()
        .expect("a device")
        .to_owned();
    let wanted = ["2026-04-20", "2026-04-26"].map(|day| format!("{device}_{day}.csv"));
    assert_eq!(names, wanted);
}

#[test]
fn an_export_that_cannot_be_done_says_why() {
    let folder = daemon_folder();
    let out = folder.path().join("out");
    let backwards = export(folder.path(), &out, ("2026-04-20", "2026-04-19"), "csv");
    assert_eq!(backwards.code, Some(64), "{}", backwards.err);
    assert!(
        backwards.err.contains("the last day is before the first"),
        "{}",
        backwards.err
    );
    let unknown = export(folder.path(), &out, ("2026-04-20", "2026-04-20"), "xlsx");
    assert_eq!(unknown.code, Some(64), "{}", unknown.err);
    assert!(
        unknown.err.contains("wanted csv or parquet"),
        "{}",
        unknown.err
    );
    let nowhere = export(
        &folder.path().join("no"),
        &out,
        ("2026-04-20", "2026-04-20"),
        "csv",
    );
    assert_eq!(nowhere.code, Some(65), "{}", nowhere.err);
    assert!(
        nowhere.err.starts_with("failed to find the store"),
        "{}",
        nowhere.err
    );
    std::fs::write(&out, b"a file").expect("room for it");
    let in_the_way = export(folder.path(), &out, ("2026-04-20", "2026-04-20"), "csv");
    assert_eq!(in_the_way.code, Some(73), "{}", in_the_way.err);
}

fn export(store: &Path, out: &Path, (from, to): (&str, &str), format: &str) -> tests::Ended {
    let site = site_file();
    noonmark(&[
        "export",
        text(&site),
        "--store",
        text(store),
        "--out",
        text(out),
        "--from",
        from,
        "--to",
        to,
        "--format",
        format,
    ])
}

fn read(folder: &Path, format: &str) -> Vec<Json> {
    let lines = judged("read_export.py", [folder.as_os_str(), format.as_ref()]);
    lines
        .lines()
        .map(|line| serde_json::from_str(line).expect("JSON"))
        .collect()
}

/// By file, then channel, then time, made from what was put in, without the store.
fn wanted() -> Vec<Json> {
    let mut days = DAYS_BACK;
    days.reverse();
    let mut rows = Vec::new();
    for (days_back, span_s) in days {
        for (i, (address, _)) in channels().into_iter().enumerate() {
            let device = address.split('/').next().expect("a device").to_owned();
            let day = ["2026-04-29", "2026-04-26", "2026-04-20", "2026-03-31"];
            let place = DAYS_BACK
                .iter()
                .position(|d| d.0 == days_back)
                .expect("one of them");
            let file = format!("{device}_{}", day[place]);
            let per_row = if span_s == 0 {
                1
            } else {
                i64::from(span_s) / 30
            };
            for first in (0..READINGS).step_by(per_row as usize) {
                let inside: Vec<Value> = (first..READINGS.min(first + per_row))
                    .map(|n| value(i, n))
                    .collect();
                let (span_s, numbers, counts) = row(i, span_s, &inside);
                let at = midnight(days_back) + Span::from_s(30 * first);
                let mut line = vec![
                    json!(file),
                    json!(at.unix_ms()),
                    json!(address),
                    json!(span_s),
                ];
                line.extend(numbers.map(|n| json!(n)));
                line.extend(counts.map(|n| json!(n)));
                rows.push(Json::Array(line));
            }
        }
    }
    rows
}

fn row(channel: usize, span_s: i32, inside: &[Value]) -> Numbers {
    let good: Vec<f64> = inside.iter().filter_map(|v| v.good()).collect();
    let counts = [
        good.len() as i64,
        inside
            .iter()
            .filter(|v| matches!(v, Value::OutOfRange(_)))
            .count() as i64,
        inside
            .iter()
            .filter(|v| matches!(v, Value::Missing))
            .count() as i64,
        inside
            .iter()
            .filter(|v| matches!(v, Value::Faulty(_)))
            .count() as i64,
    ];
    if span_s == 0 {
        let number = match inside[0] {
            Value::Good(number) | Value::OutOfRange(number) => Some(number),
            Value::Missing => None,
            Value::Faulty(number) => number,
        };
        return (0, [number, None, None, None, None], counts);
    }
    let (first, last) = (good.first().copied(), good.last().copied());
    let numbers = match channel {
        0 if good.is_empty() => [None; 5],
        0 => {
            // Tenths, added as whole numbers.
            let tenths: i64 = good.iter().map(|n| (n * 10.0).round() as i64).sum();
            let mean = tenths as f64 / 10.0 / good.len() as f64;
            let min = good.iter().copied().reduce(f64::min);
            [
                Some(mean),
                min,
                good.iter().copied().reduce(f64::max),
                None,
                None,
            ]
        }
        1 => [last, None, None, first, None],
        _ => {
            let seen = good
                .iter()
                .fold(0_u64, |seen, state| seen | 1 << *state as u64);
            [last, None, None, None, Some(seen as f64)]
        }
    };
    (span_s, numbers, counts)
}
