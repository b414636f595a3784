//! What is wrong with a site file: where, what was found, what was wanted; and how that is shown.
//! Never in here: what a key means.

use miette::{Diagnostic, GraphicalReportHandler, GraphicalTheme, LabeledSpan, NamedSource};
use std::collections::BTreeSet;
use std::fmt;
use std::io;
use std::ops::Range;
use std::path::PathBuf;

/// Kind of a problem.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Fault {
    /// Not TOML.
    Syntax,
    /// A key that the table does not have.
    UnknownKey,
    /// A key that must be there and is not.
    MissingKey,
    /// A number where a text belongs, and the like.
    WrongType,
    /// A number outside what the key allows, often in another unit.
    OutOfRange,
    /// A text that is none of those allowed.
    UnknownName,
    /// The same name twice.
    Duplicate,
    /// Keys that are each possible and cannot be true together.
    Contradiction,
}

/// One thing that is wrong.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Problem {
    /// From 1.
    pub line: usize,
    /// In characters, from 1.
    pub column: usize,
    /// Bytes of the file that the problem is about.
    pub span: Range<usize>,
    /// Tables and key, as `inverter[2].input[1].number`; tables of an array count from 1.
    pub path: String,
    /// Kind.
    pub fault: Fault,
    /// What the file says.
    pub found: String,
    /// What it should say.
    pub wanted: String,
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if !self.path.is_empty() {
            write!(f, "{}: ", self.path)?;
        }
        write!(f, "found {}, wanted {}", self.found, self.wanted)
    }
}

/// Collects problems while a file is read.
#[derive(Debug)]
pub(crate) struct Problems<'a> {
    text: &'a str,
    list: Vec<Problem>,
    maps: Vec<ConfigErrors>,
}

impl<'a> Problems<'a> {
    pub(crate) fn new(text: &'a str) -> Self {
        Self {
            text,
            list: Vec::new(),
            maps: Vec::new(),
        }
    }

    /// What is wrong with a register map that the file names; each map once.
    pub(crate) fn add_map(&mut self, errors: ConfigErrors) {
        if !self.maps.iter().any(|known| known.name() == errors.name()) {
            self.maps.push(errors);
        }
    }

    pub(crate) fn take_maps(&mut self) -> Vec<ConfigErrors> {
        std::mem::take(&mut self.maps)
    }

    pub(crate) fn add(
        &mut self,
        fault: Fault,
        span: &Range<usize>,
        path: impl Into<String>,
        found: impl Into<String>,
        wanted: impl Into<String>,
    ) {
        let (line, column) = line_and_column(self.text, span.start);
        self.list.push(Problem {
            line,
            column,
            span: span.clone(),
            path: path.into(),
            fault,
            found: found.into(),
            wanted: wanted.into(),
        });
    }

    /// In the order of the file. A key whose value could not be read is there: whoever needs it and does
    /// not have it has nothing to add.
    pub(crate) fn into_sorted(mut self) -> Vec<Problem> {
        let there = self.list.iter().filter(|p| p.fault != Fault::MissingKey);
        let there: BTreeSet<String> = there.map(|p| p.path.clone()).collect();
        self.list
            .retain(|p| p.fault != Fault::MissingKey || !there.contains(&p.path));
        self.list.sort_by(|a, b| {
            (a.span.start, a.span.end, &a.path).cmp(&(b.span.start, b.span.end, &b.path))
        });
        self.list
    }
}

fn line_and_column(text: &str, byte: usize) -> (usize, usize) {
    let before = text.get(..byte).unwrap_or(text);
    let line = before.matches('\n').count() + 1;
    let start = before.rfind('\n').map_or(0, |at| at + 1);
    (line, before[start..].chars().count() + 1)
}

/// Why there is no checked site file.
#[derive(Debug)]
pub enum ConfigErrors {
    /// The file could not be read.
    Unreadable {
        /// The file.
        path: PathBuf,
        /// Why.
        source: io::Error,
    },
    /// The file was read and is wrong.
    Wrong {
        /// The file's name, as given.
        name: String,
        /// What it holds.
        text: String,
        /// Everything wrong with it, in the order of the file; never empty.
        problems: Vec<Problem>,
        /// What is wrong with the register maps that it names.
        maps: Vec<ConfigErrors>,
    },
}

impl ConfigErrors {
    /// Everything wrong with the file's contents.
    pub fn problems(&self) -> &[Problem] {
        match self {
            Self::Unreadable { .. } => &[],
            Self::Wrong { problems, .. } => problems,
        }
    }

    /// For a person: each problem with the piece of the file it is about.
    pub fn render(&self, colour: bool) -> String {
        match self {
            Self::Unreadable { .. } => format!("{self}\n"),
            Self::Wrong {
                name,
                text,
                problems,
                maps,
            } => {
                let own = render(name, text, problems, colour);
                let maps = maps.iter().map(|map| map.render(colour));
                std::iter::once(own).chain(maps).collect()
            }
        }
    }

    /// The file.
    pub fn name(&self) -> String {
        match self {
            Self::Unreadable { path, .. } => path.display().to_string(),
            Self::Wrong { name, .. } => name.clone(),
        }
    }
}

/// For a log: one line per problem, `file:line:column: message`.
impl fmt::Display for ConfigErrors {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Unreadable { path, source } => {
                write!(f, "read site file {}: {source}", path.display())
            }
            Self::Wrong {
                name,
                problems,
                maps,
                ..
            } => {
                for (i, problem) in problems.iter().enumerate() {
                    let gap = if i == 0 { "" } else { "\n" };
                    let (line, column) = (problem.line, problem.column);
                    write!(f, "{gap}{name}:{line}:{column}: {problem}")?;
                }
                for map in maps {
                    write!(f, "\n{map}")?;
                }
                Ok(())
            }
        }
    }
}

impl std::error::Error for ConfigErrors {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        match self {
            Self::Unreadable { source, .. } => Some(source),
            Self::Wrong { .. } => None,
        }
    }
}

/// Wide enough for most messages, narrow enough for most terminals.
const RENDER_WIDTH: usize = 100;

fn render(name: &str, text: &str, problems: &[Problem], colour: bool) -> String {
    let theme = if colour {
        GraphicalTheme::unicode()
    } else {
        GraphicalTheme::unicode_nocolor()
    };
    let handler = GraphicalReportHandler::new_themed(theme)
        .with_width(RENDER_WIDTH)
        .with_context_lines(1)
        .without_syntax_highlighting();
    let mut out = String::new();
    for problem in problems {
        let source = NamedSource::new(name, text.to_owned());
        handler
            .render_report(&mut out, &Shown { problem, source })
            .expect("a String takes everything");
    }
    let (count, noun) = (problems.len(), plural(problems.len()));
    out.push_str(&format!("{count} {noun} in {name}\n"));
    out
}

fn plural(count: usize) -> &'static str {
    if count == 1 { "problem" } else { "problems" }
}

/// A problem with the text it is about.
#[derive(Debug)]
struct Shown<'a> {
    problem: &'a Problem,
    source: NamedSource<String>,
}

impl fmt::Display for Shown<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Problem { path, found, .. } = self.problem;
        if path.is_empty() {
            write!(f, "found {found}")
        } else {
            write!(f, "{path}: found {found}")
        }
    }
}

impl std::error::Error for Shown<'_> {}

impl Diagnostic for Shown<'_> {
    fn source_code(&self) -> Option<&dyn miette::SourceCode> {
        Some(&self.source)
    }

    fn labels(&self) -> Option<Box<dyn Iterator<Item = LabeledSpan> + '_>> {
        let span = self.first_line();
        let label = LabeledSpan::at(span, format!("wanted {}", self.problem.wanted));
        Some(Box::new(std::iter::once(label)))
    }
}

impl Shown<'_> {
    /// A label over many lines hides them; the first line says where to look.
    fn first_line(&self) -> Range<usize> {
        let Range { start, end } = self.problem.span.clone();
        let about = self.source.inner().get(start..end).unwrap_or_default();
        start..start + about.find('\n').unwrap_or(about.len())
    }
}
