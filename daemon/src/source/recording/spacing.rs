//! How far the rows of a recording are apart, measured from its first rows.
//! Never in here: values.

use super::{Recording, RecordingError, RecordingSettings};
use analysis::reading::Span;
use std::collections::BTreeMap;

/// Rows that are looked at: a day of quarter hours.
const ROWS: usize = 96;

/// The most frequent step from a row to the next; of equally frequent ones the shortest.
///
/// # Errors
/// If the file cannot be read, or fewer than two rows with rising times are among its first.
pub fn spacing(settings: &RecordingSettings) -> Result<Span, RecordingError> {
    let mut steps: BTreeMap<Span, u32> = BTreeMap::new();
    let mut before = None;
    for row in Recording::open(settings)?.take(ROWS) {
        let at = row?.at;
        if let Some(before) = before.replace(at)
            && at > before
        {
            *steps.entry(at - before).or_default() += 1;
        }
    }
    let most = steps.iter().max_by(|a, b| a.1.cmp(b.1).then(b.0.cmp(a.0)));
    most.map(|(step, _)| *step)
        .ok_or_else(|| RecordingError::NoSpacing {
            file: settings.file.clone(),
        })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::source::recording::IntervalStamp;
    use std::path::Path;

    fn measured(rows: &str) -> Result<Span, RecordingError> {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let file = folder.path().join("rows.csv");
        std::fs::write(&file, format!("t,v\n{rows}")).expect("room");
        spacing(&settings(&file))
    }

    fn settings(file: &Path) -> RecordingSettings {
        RecordingSettings {
            file: file.to_owned(),
            time_column: "t".to_owned(),
            time_format: None,
            timezone: chrono_tz::UTC,
            interval: IntervalStamp::Instant,
            interval_span: Span::ZERO,
            columns: Vec::new(),
        }
    }

    #[test]
    fn a_gap_does_not_change_the_step() {
        let rows = ["00:00", "00:10", "00:20", "05:00", "05:10"];
        let rows = rows.map(|t| format!("2026-03-01T{t}:00Z,1\n")).concat();
        assert_eq!(measured(&rows).expect("five rows"), Span::from_min(10));
    }

    #[test]
    fn one_row_has_no_step() {
        let error = measured("2026-03-01T00:00:00Z,1\n").expect_err("one row");
        assert!(matches!(error, RecordingError::NoSpacing { .. }));
    }
}
