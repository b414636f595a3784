//! The rows of a recording, one at a time, so that a year does not sit in memory.

use super::line::{Line, LineReader, Splitter};
use super::stamp::Stamps;
use super::{ColumnMap, RecordingSettings, Remark, SkipReason, SkipReport};
use analysis::reading::{Reading, Time, Value};
use std::fs::File;
use std::io::{self, BufRead, BufReader};
use std::path::PathBuf;
use thiserror::Error;

/// One row that could be used.
#[derive(Debug, Clone, PartialEq)]
pub struct Row {
    /// Where it stands in the file, from 1, the header included.
    pub line: u64,
    /// Its time; for means the middle of the interval.
    pub at: Time,
    /// One for each column that was asked for, in that order.
    pub readings: Vec<Reading>,
}

/// Why a recording cannot be read.
#[derive(Debug, Error)]
pub enum RecordingError {
    /// The file cannot be opened.
    #[error("open the recording {}", file.display())]
    CannotOpen {
        /// The file.
        file: PathBuf,
        /// What the system said.
        source: io::Error,
    },
    /// The file was opened and then could not be read.
    #[error("read {} after line {line}", file.display())]
    CannotRead {
        /// The file.
        file: PathBuf,
        /// The last line that was read.
        line: u64,
        /// What the system said.
        source: io::Error,
    },
    /// The first line is not a header.
    #[error("read the header of {}: {reason}", file.display())]
    NoHeader {
        /// The file.
        file: PathBuf,
        /// What is wrong with the line.
        reason: SkipReason,
    },
    /// The site file names columns that are not there.
    #[error("find {wanted:?} in the header of {}; it has {present:?}", file.display())]
    HeadersMissing {
        /// The file.
        file: PathBuf,
        /// Named in the site file and not in the header.
        wanted: Vec<String>,
        /// All of the header.
        present: Vec<String>,
    },
    /// A column that is asked for is there more than once.
    #[error("choose between {times} columns \"{header}\" of {}", file.display())]
    HeaderRepeated {
        /// The file.
        file: PathBuf,
        /// The header.
        header: String,
        /// How many times it is there.
        times: usize,
    },
    /// The format of the time is none.
    #[error("understand time_format \"{format}\"")]
    TimeFormat {
        /// The format.
        format: String,
    },
    /// How far its rows are apart cannot be seen from its first ones.
    #[error("see how far the rows of {} are apart; give interval_s in the site file", file.display())]
    NoSpacing {
        /// The file.
        file: PathBuf,
    },
    /// The end was reached and no row could be used.
    #[error("use any row of {}: {report}", file.display())]
    NoUsableRows {
        /// The file.
        file: PathBuf,
        /// Why not.
        report: Box<SkipReport>,
    },
}

/// An open recording: an iterator of rows. It ends after the first error; that no row at all could
/// be used is an error too.
pub struct Recording<R> {
    file: PathBuf,
    lines: LineReader<R>,
    splitter: Splitter,
    stamps: Stamps,
    time_field: usize,
    columns: Vec<(usize, ColumnMap)>,
    header_count: usize,
    report: SkipReport,
    previous: Option<Time>,
    ended: bool,
}

impl Recording<BufReader<File>> {
    /// Opens the file that the settings name.
    pub fn open(settings: &RecordingSettings) -> Result<Self, RecordingError> {
        let file = File::open(&settings.file).map_err(|source| RecordingError::CannotOpen {
            file: settings.file.clone(),
            source,
        })?;
        Self::new(BufReader::new(file), settings)
    }
}

impl<R: BufRead> Recording<R> {
    /// Reads the header of what is already open.
    pub fn new(input: R, settings: &RecordingSettings) -> Result<Self, RecordingError> {
        let stamps = Stamps::new(settings).ok_or_else(|| RecordingError::TimeFormat {
            format: settings.time_format.clone().unwrap_or_default(),
        })?;
        let mut lines = LineReader::new(input);
        let mut splitter = Splitter::new();
        let headers = read_header(&mut lines, &mut splitter, settings)?;
        check_headers(&headers, settings)?;
        let place = |wanted: &str| {
            let found = headers.iter().position(|header| header == wanted.trim());
            found.expect("every wanted header was found just now")
        };
        let columns = settings.columns.iter();
        Ok(Self {
            file: settings.file.clone(),
            time_field: place(&settings.time_column),
            columns: columns.map(|c| (place(&c.header), c.clone())).collect(),
            header_count: headers.len(),
            report: SkipReport::new(settings.columns.iter().map(|c| c.header.as_str())),
            lines,
            splitter,
            stamps,
            previous: None,
            ended: false,
        })
    }

    /// What became of the rows so far; of all rows once the iterator has ended.
    pub fn report(&self) -> &SkipReport {
        &self.report
    }

    /// How many bytes of the file were read so far.
    pub fn bytes_read(&self) -> u64 {
        self.lines.bytes_read()
    }

    /// The next row that can be used; `None` at the end.
    fn next_row(&mut self) -> Result<Option<Row>, RecordingError> {
        loop {
            let line = self.lines.next_line();
            let split = match line {
                Ok(None) => return Ok(None),
                Ok(Some(Line::TooLong)) => Err(SkipReason::LineTooLong),
                Ok(Some(Line::Bytes(bytes))) => self.splitter.split(bytes),
                Err(source) => {
                    return Err(RecordingError::CannotRead {
                        file: self.file.clone(),
                        line: self.lines.number(),
                        source,
                    });
                }
            };
            self.report.rows_read += 1;
            match split.and_then(|()| self.row()) {
                Ok(row) => {
                    self.report.rows_used += 1;
                    return Ok(Some(row));
                }
                Err(reason) => self.report.skip(reason, self.lines.number()),
            }
        }
    }

    /// The line that has just been split, as a row.
    fn row(&mut self) -> Result<Row, SkipReason> {
        if self.splitter.count() != self.header_count {
            return Err(SkipReason::FieldCount);
        }
        let stamp = self.stamps.read(self.splitter.field(self.time_field))?;
        let line = self.lines.number();
        if stamp.ambiguous {
            self.report.remark(Remark::TimeAmbiguous, line);
        }
        match self.previous.map(|previous| stamp.at.cmp(&previous)) {
            Some(std::cmp::Ordering::Less) => self.report.remark(Remark::TimeWentBack, line),
            Some(std::cmp::Ordering::Equal) => self.report.remark(Remark::TimeRepeated, line),
            Some(std::cmp::Ordering::Greater) | None => {}
        }
        self.previous = Some(stamp.at);
        let mut readings = Vec::with_capacity(self.columns.len());
        for (place, (field, column)) in self.columns.iter().enumerate() {
            let value = value(self.splitter.field(*field), column);
            self.report.count(place, value, line);
            readings.push(Reading {
                channel: column.channel,
                at: stamp.at,
                value: value.unwrap_or(Value::Missing),
            });
        }
        Ok(Row {
            line,
            at: stamp.at,
            readings,
        })
    }
}

impl<R: BufRead> Iterator for Recording<R> {
    type Item = Result<Row, RecordingError>;

    fn next(&mut self) -> Option<Self::Item> {
        if self.ended {
            return None;
        }
        let row = self.next_row().transpose();
        self.ended = !matches!(row, Some(Ok(_)));
        if row.is_none() && self.report.rows_used == 0 {
            return Some(Err(RecordingError::NoUsableRows {
                file: self.file.clone(),
                report: Box::new(self.report.clone()),
            }));
        }
        row
    }
}

/// The value of a field; `None` if it is not a number.
fn value(text: &str, column: &ColumnMap) -> Option<Value> {
    if text.is_empty() || text.eq_ignore_ascii_case("null") {
        return Some(Value::Missing);
    }
    let raw: f64 = text.parse().ok()?;
    let value = raw * column.scale + column.offset;
    Some(Value::judge(column.quantity, value))
}

fn read_header<R: BufRead>(
    lines: &mut LineReader<R>,
    splitter: &mut Splitter,
    settings: &RecordingSettings,
) -> Result<Vec<String>, RecordingError> {
    let no_header = |reason| RecordingError::NoHeader {
        file: settings.file.clone(),
        reason,
    };
    let line = match lines.next_line() {
        Ok(Some(Line::Bytes(bytes))) => utf8(bytes.strip_prefix(BYTE_ORDER_MARK).unwrap_or(bytes)),
        Ok(Some(Line::TooLong)) => return Err(no_header(SkipReason::LineTooLong)),
        Ok(None) => return Err(no_header(SkipReason::Blank)),
        Err(source) => {
            return Err(RecordingError::CannotRead {
                file: settings.file.clone(),
                line: 0,
                source,
            });
        }
    };
    splitter.split(line.as_bytes()).map_err(no_header)?;
    let fields = (0..splitter.count()).map(|i| splitter.field(i).to_owned());
    Ok(fields.collect())
}

const BYTE_ORDER_MARK: &[u8] = b"\xef\xbb\xbf";

/// Headers carry units, and older loggers write "W/m²" and "°C" in Latin-1, whose bytes are the
/// first 256 code points; without this no column of such a file could be named.
fn utf8(bytes: &[u8]) -> String {
    match std::str::from_utf8(bytes) {
        Ok(text) => text.to_owned(),
        Err(_) => bytes.iter().copied().map(char::from).collect(),
    }
}

fn check_headers(headers: &[String], settings: &RecordingSettings) -> Result<(), RecordingError> {
    let columns = settings.columns.iter().map(|column| column.header.as_str());
    let wanted = || std::iter::once(settings.time_column.as_str()).chain(columns.clone());
    let times = |wanted: &str| headers.iter().filter(|h| *h == wanted.trim()).count();
    let missing: Vec<String> = wanted()
        .filter(|header| times(header) == 0)
        .map(str::to_owned)
        .collect();
    if !missing.is_empty() {
        return Err(RecordingError::HeadersMissing {
            file: settings.file.clone(),
            wanted: missing,
            present: headers.to_vec(),
        });
    }
    match wanted().find(|header| times(header) > 1) {
        None => Ok(()),
        Some(header) => Err(RecordingError::HeaderRepeated {
            file: settings.file.clone(),
            header: header.to_owned(),
            times: times(header),
        }),
    }
}
