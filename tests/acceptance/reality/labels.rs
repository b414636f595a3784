//! Labels of rows beside what was said of the same times: precision and recall.
//! Never in here: what is good enough.

use chrono::DateTime;
use serde_json::Value;
use std::fmt;
use std::path::Path;

/// A labelled row: its time [ms since 1970, UTC] and whether it is what the label means.
pub type Labelled = (i64, bool);

/// How what was said agrees with the labels, in rows.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Score {
    /// Labelled and said.
    pub right: usize,
    /// Said and not labelled.
    pub wrong: usize,
    /// Labelled and not said.
    pub missed: usize,
    /// Neither.
    pub silent: usize,
}

impl Score {
    /// Of what was said, how much is labelled; `None` where nothing was said.
    pub fn precision(&self) -> Option<f64> {
        ratio(self.right, self.right + self.wrong)
    }

    /// Of what is labelled, how much was said; `None` where nothing is labelled.
    pub fn recall(&self) -> Option<f64> {
        ratio(self.right, self.right + self.missed)
    }
}

fn ratio(part: usize, whole: usize) -> Option<f64> {
    (whole > 0).then(|| part as f64 / whole as f64)
}

impl fmt::Display for Score {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let words = |ratio: Option<f64>| ratio.map_or("-".to_owned(), |r| format!("{r:.2}"));
        write!(
            f,
            "{} right, {} wrong, {} missed, {} silent: precision {}, recall {}",
            self.right,
            self.wrong,
            self.missed,
            self.silent,
            words(self.precision()),
            words(self.recall())
        )
    }
}

/// Labels of a file whose stamps carry their offset, as `2017-04-10 19:15:00+00:00`.
///
/// Panics on a row that cannot be read: the files are part of the tests.
pub fn labels(path: &Path, time: &str, label: &str) -> Vec<Labelled> {
    let mut reader = csv::Reader::from_path(path).expect("the file is there");
    let headers = reader.headers().expect("a header").clone();
    let column = |name: &str| headers.iter().position(|h| h == name).expect("the column");
    let (time, label) = (column(time), column(label));
    let row = |row: csv::StringRecord| {
        let at = DateTime::parse_from_str(&row[time], "%Y-%m-%d %H:%M:%S%:z").expect("a stamp");
        let is = row[label].eq_ignore_ascii_case("true");
        assert!(is || row[label].eq_ignore_ascii_case("false"), "{row:?}");
        (at.timestamp_millis(), is)
    };
    reader
        .records()
        .map(|r| row(r.expect("readable")))
        .collect()
}

/// Compares labels with what was said of their times.
pub fn score(labels: &[Labelled], said: impl Fn(i64) -> bool) -> Score {
    let mut score = Score::default();
    for &(at, is) in labels {
        let count = match (is, said(at)) {
            (true, true) => &mut score.right,
            (false, true) => &mut score.wrong,
            (true, false) => &mut score.missed,
            (false, false) => &mut score.silent,
        };
        *count += 1;
    }
    score
}

/// Whether a finding of one of these kinds covers a time.
pub fn covered<'a>(findings: &'a [Value], kinds: &'a [&str]) -> impl Fn(i64) -> bool + 'a {
    let ms = |text: &Value| {
        let at = text.as_str().map(DateTime::parse_from_rfc3339)?;
        Some(at.expect("RFC 3339").timestamp_millis())
    };
    let of = findings
        .iter()
        .filter(|f| f["kind"].as_str().is_some_and(|kind| kinds.contains(&kind)));
    let spans: Vec<(i64, i64)> = of
        .map(|f| {
            let began = ms(&f["began"]).expect("a finding has a beginning");
            (began, ms(&f["ended"]).unwrap_or(i64::MAX))
        })
        .collect();
    move |at| {
        spans
            .iter()
            .any(|(began, ended)| (*began..*ended).contains(&at))
    }
}

#[test]
fn scores_count_rows() {
    let labels = [(0, true), (1, true), (2, false), (3, false), (4, false)];
    let score = score(&labels, |at| at == 1 || at == 2);
    let wanted = Score {
        right: 1,
        wrong: 1,
        missed: 1,
        silent: 2,
    };
    assert_eq!(score, wanted);
    assert_eq!((score.precision(), score.recall()), (Some(0.5), Some(0.5)));
    assert_eq!(Score::default().precision(), None);
}
