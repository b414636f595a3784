//! What became of the rows of a recording: used, skipped and why, and what was odd.

use analysis::reading::Value;
use std::collections::BTreeMap;
use std::fmt;

/// How many line numbers are kept for each reason.
const FIRST_LINES: usize = 5;

/// Why a row was not used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum SkipReason {
    /// Nothing in it.
    Blank,
    /// Longer than any row.
    LineTooLong,
    /// Bytes that are not UTF-8.
    NotUtf8,
    /// A quote is not closed on the line.
    BadQuotes,
    /// Not as many fields as the header.
    FieldCount,
    /// The time is not written as the format says.
    TimeUnreadable,
    /// A local time inside the gap when clocks are put forward.
    TimeDoesNotExist,
}

/// What was odd about a row that was used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Remark {
    /// A field is not a number; it counts as missing.
    NotANumber,
    /// A value that its quantity cannot have.
    OutOfRange,
    /// Earlier than the row before it.
    TimeWentBack,
    /// The same time as the row before it.
    TimeRepeated,
    /// A local time that comes twice when clocks are put back: taken as the first until the time
    /// goes back, as the second from then on.
    TimeAmbiguous,
}

/// On which lines something was found.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lines {
    /// How many times.
    pub total: u64,
    /// The first few lines, counted from 1, the header included.
    pub first: Vec<u64>,
}

/// What a column held, over all used rows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ColumnCount {
    /// Header of the column.
    pub header: String,
    /// Values to use.
    pub good: u64,
    /// Empty fields, "null", NaN.
    pub missing: u64,
    /// Fields that are not numbers.
    pub not_a_number: u64,
    /// Values that the quantity cannot have.
    pub out_of_range: u64,
}

/// What became of the rows. `rows_read` is `rows_used` and `rows_skipped()` together.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct SkipReport {
    /// Lines after the header.
    pub rows_read: u64,
    /// Rows that became readings.
    pub rows_used: u64,
    /// Rows that did not, and why.
    pub skipped: BTreeMap<SkipReason, Lines>,
    /// What was odd about used rows.
    pub remarks: BTreeMap<Remark, Lines>,
    /// One for each column that was asked for.
    pub columns: Vec<ColumnCount>,
}

impl SkipReport {
    pub(super) fn new<'a>(headers: impl Iterator<Item = &'a str>) -> Self {
        let column = |header: &str| ColumnCount {
            header: header.to_owned(),
            good: 0,
            missing: 0,
            not_a_number: 0,
            out_of_range: 0,
        };
        Self {
            columns: headers.map(column).collect(),
            ..Self::default()
        }
    }

    /// Rows that were not used.
    pub fn rows_skipped(&self) -> u64 {
        self.skipped.values().map(|lines| lines.total).sum()
    }

    pub(super) fn skip(&mut self, reason: SkipReason, line: u64) {
        self.skipped.entry(reason).or_default().add(line);
    }

    pub(super) fn remark(&mut self, remark: Remark, line: u64) {
        self.remarks.entry(remark).or_default().add(line);
    }

    /// Counts a field; `None` stands for one that is not a number.
    pub(super) fn count(&mut self, column: usize, value: Option<Value>, line: u64) {
        let counts = &mut self.columns[column];
        match value {
            Some(Value::Good(_)) => counts.good += 1,
            // No column of a recording says that its device is wrong.
            Some(Value::Missing | Value::Faulty(_)) => counts.missing += 1,
            Some(Value::OutOfRange(_)) => {
                counts.out_of_range += 1;
                self.remark(Remark::OutOfRange, line);
            }
            None => {
                counts.not_a_number += 1;
                self.remark(Remark::NotANumber, line);
            }
        }
    }
}

impl Lines {
    fn add(&mut self, line: u64) {
        self.total += 1;
        if self.first.len() < FIRST_LINES {
            self.first.push(line);
        }
    }
}

impl fmt::Display for SkipReport {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} rows read, {} used", self.rows_read, self.rows_used)?;
        for (reason, lines) in &self.skipped {
            write!(f, "\n  skipped, {reason}: {lines}")?;
        }
        for (remark, lines) in &self.remarks {
            write!(f, "\n  used, {remark}: {lines}")?;
        }
        for column in self.columns.iter().filter(|c| c.missing > 0) {
            write!(
                f,
                "\n  column \"{}\": {} missing",
                column.header, column.missing
            )?;
        }
        Ok(())
    }
}

impl fmt::Display for Lines {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let first: Vec<String> = self.first.iter().map(u64::to_string).collect();
        let more = if self.total > self.first.len() as u64 {
            ", ..."
        } else {
            ""
        };
        write!(f, "{} (line {}{more})", self.total, first.join(", "))
    }
}

impl fmt::Display for SkipReason {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            SkipReason::Blank => "blank",
            SkipReason::LineTooLong => "line too long",
            SkipReason::NotUtf8 => "not UTF-8",
            SkipReason::BadQuotes => "quote not closed on its line",
            SkipReason::FieldCount => "not as many fields as the header",
            SkipReason::TimeUnreadable => "time not readable",
            SkipReason::TimeDoesNotExist => "local time does not exist (clocks put forward)",
        })
    }
}

impl fmt::Display for Remark {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Remark::NotANumber => "field is not a number",
            Remark::OutOfRange => "value impossible for its quantity",
            Remark::TimeWentBack => "time earlier than the row before",
            Remark::TimeRepeated => "time same as the row before",
            Remark::TimeAmbiguous => "local time comes twice (clocks put back), taken in row order",
        })
    }
}
