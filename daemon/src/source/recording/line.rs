//! From bytes to lines, and from a line to fields.
//!
//! A row is one line, so that a quote that is never closed costs one row and not the rest of the
//! file. Fields with line breaks inside, which CSV allows, do not occur in recordings of numbers;
//! where one does, its lines are counted as skipped.

use super::SkipReason;
use csv_core::ReadRecordResult;
use std::io::{self, BufRead, Read};

/// Longer lines are no rows; the limit keeps a file without line ends out of memory.
const MAX_LINE_BYTES: u64 = 1 << 20;

/// Lines with their numbers, from 1.
pub(super) struct LineReader<R> {
    input: R,
    bytes: Vec<u8>,
    number: u64,
    read: u64,
}

/// One line as it stands in the file, without its end.
pub(super) enum Line<'a> {
    /// Its bytes.
    Bytes(&'a [u8]),
    /// It was longer than any row.
    TooLong,
}

impl<R: BufRead> LineReader<R> {
    pub fn new(input: R) -> Self {
        Self {
            input,
            bytes: Vec::new(),
            number: 0,
            read: 0,
        }
    }

    /// How many bytes were read.
    pub fn bytes_read(&self) -> u64 {
        self.read
    }

    /// Number of the line that was read last.
    pub fn number(&self) -> u64 {
        self.number
    }

    pub fn next_line(&mut self) -> io::Result<Option<Line<'_>>> {
        if self.read_piece()? == 0 {
            return Ok(None);
        }
        self.number += 1;
        if self.is_cut() {
            while self.is_cut() && self.read_piece()? > 0 {}
            return Ok(Some(Line::TooLong));
        }
        let line = self.bytes.strip_suffix(b"\n").unwrap_or(&self.bytes);
        Ok(Some(Line::Bytes(line.strip_suffix(b"\r").unwrap_or(line))))
    }

    fn read_piece(&mut self) -> io::Result<usize> {
        self.bytes.clear();
        let mut piece = (&mut self.input).take(MAX_LINE_BYTES);
        let read = piece.read_until(b'\n', &mut self.bytes)?;
        self.read += read as u64;
        Ok(read)
    }

    fn is_cut(&self) -> bool {
        self.bytes.len() as u64 == MAX_LINE_BYTES && !self.bytes.ends_with(b"\n")
    }
}

/// Cuts lines into fields and keeps the room for it.
pub(super) struct Splitter {
    parser: csv_core::Reader,
    input: Vec<u8>,
    text: Vec<u8>,
    ends: Vec<usize>,
    count: usize,
}

impl Splitter {
    pub fn new() -> Self {
        Self {
            parser: csv_core::Reader::new(),
            input: Vec::new(),
            text: Vec::new(),
            ends: Vec::new(),
            count: 0,
        }
    }

    /// Cuts a line; the fields can be taken until the next one is cut.
    pub fn split(&mut self, line: &[u8]) -> Result<(), SkipReason> {
        if std::str::from_utf8(line).is_err() {
            return Err(SkipReason::NotUtf8);
        }
        if line.iter().all(u8::is_ascii_whitespace) {
            return Err(SkipReason::Blank);
        }
        if line.iter().filter(|byte| **byte == b'"').count() % 2 == 1 {
            return Err(SkipReason::BadQuotes);
        }
        self.input.clear();
        self.input.extend_from_slice(line);
        self.input.push(b'\n');
        // Fields hold no more bytes than the line and are at most one more than its commas.
        self.text.resize(self.input.len(), 0);
        self.ends.resize(self.input.len(), 0);
        self.parser.reset();
        let (result, _, _, count) =
            self.parser
                .read_record(&self.input, &mut self.text, &mut self.ends);
        match result {
            ReadRecordResult::Record => {
                self.count = count;
                Ok(())
            }
            // The line's end stood inside quotes.
            _ => Err(SkipReason::BadQuotes),
        }
    }

    /// How many fields the line has.
    pub fn count(&self) -> usize {
        self.count
    }

    /// A field, without the spaces around it.
    pub fn field(&self, index: usize) -> &str {
        let start = index.checked_sub(1).map_or(0, |before| self.ends[before]);
        let field = &self.text[start..self.ends[index]];
        let field = std::str::from_utf8(field).expect("a field of a UTF-8 line is UTF-8");
        field.trim()
    }
}
