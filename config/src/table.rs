//! A table of the site file: its keys in one place, and how a TOML table is read against them.
//! Unknown and missing keys are reported here; values by their [`Shape`](crate::shape::Shape).

use crate::problem::{Fault, Problems};
use crate::shape::{Shape, Value};
use std::ops::Range;
use toml::de::DeTable;

/// One key of a table: what may stand there, whether it must, and what it means.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Key {
    /// Name in the file.
    pub name: &'static str,
    /// Whether it must be there.
    pub need: Need,
    /// What may stand there.
    pub rule: Rule,
    /// What it means.
    pub doc: &'static str,
}

/// Whether a key must be there.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Need {
    /// It must.
    Required,
    /// It need not, and then this number counts.
    Default(f64),
    /// It need not; what happens then.
    Optional(&'static str),
}

/// What may stand at a key.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Rule {
    /// A number from `low` to `high`.
    Range {
        /// Lowest.
        low: f64,
        /// Highest.
        high: f64,
        /// Unit; empty for counts.
        unit: &'static str,
    },
    /// One of these words.
    OneOf(&'static [&'static str]),
    /// What the key's own code looks at, in words.
    Words(&'static str),
}

impl Key {
    /// Unit, range and default in one phrase, as the comments of the example files give them.
    pub fn summary(&self) -> String {
        let rule = match self.rule {
            Rule::Range {
                low,
                high,
                unit: "",
            } => format!("{low} to {high}"),
            Rule::Range { low, high, unit } => format!("{low} to {high} {unit}"),
            Rule::OneOf(words) => words.join(" | "),
            Rule::Words(words) => words.to_owned(),
        };
        match self.need {
            Need::Required => format!("{rule}; required"),
            Need::Default(number) => format!("{rule}; default {number}"),
            Need::Optional(then) => format!("{rule}; default {then}"),
        }
    }
}

/// A value with the place where it stands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Found<T> {
    pub(crate) value: T,
    pub(crate) span: Range<usize>,
}

/// Where a table stands.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct At {
    pub(crate) path: String,
    pub(crate) span: Range<usize>,
}

impl At {
    /// Path of one of the table's keys.
    pub(crate) fn key(&self, name: &str) -> String {
        if self.path.is_empty() {
            name.to_owned()
        } else {
            format!("{}.{name}", self.path)
        }
    }
}

/// A struct that mirrors a table of the file; made by `table!`.
pub(crate) trait Table: Sized {
    const KEYS: &'static [Key];

    /// What may stand at each key of [`Table::KEYS`], as JSON Schemas.
    fn schemas() -> Vec<serde_json::Value>;

    /// Takes the fields in the order of [`Table::KEYS`].
    fn take(fields: &mut Fields<'_, '_, '_>) -> Self;

    /// Where it stands.
    fn at(&self) -> &At;
}

/// Reads a TOML table: takes every known key, reports the unknown and the missing.
pub(crate) fn read<T: Table>(table: &DeTable<'_>, at: At, problems: &mut Problems<'_>) -> T {
    for (key, _) in table {
        let name: &str = key.get_ref();
        if !T::KEYS.iter().any(|known| known.name == name) {
            let wanted = near(name, T::KEYS.iter().map(|known| known.name));
            let found = format!("unknown key `{name}`");
            problems.add(Fault::UnknownKey, &key.span(), at.key(name), found, wanted);
        }
    }
    T::take(&mut Fields {
        table,
        keys: T::KEYS.iter(),
        at,
        problems,
    })
}

/// The known name nearest to what was found, or all of them.
pub(crate) fn near<'k>(found: &str, known: impl Iterator<Item = &'k str>) -> String {
    let known: Vec<&str> = known.collect();
    match nearest(found, &known) {
        Some(name) => format!("`{name}`"),
        None => format!("one of: {}", known.join(", ")),
    }
}

/// Two edits in three letters are another word (common practice: a third of the length).
pub(crate) fn nearest<'k>(found: &str, known: &[&'k str]) -> Option<&'k str> {
    let found = found.to_lowercase();
    let grown = |name: &&&str| found.len() >= 3 && name.starts_with(&format!("{found}_"));
    known.iter().find(grown).copied().or_else(|| {
        let distance = |name: &str| strsim::damerau_levenshtein(&found, &name.to_lowercase());
        let name = known.iter().copied().min_by_key(|name| distance(name))?;
        (distance(name) * 3 <= found.chars().count().max(name.len())).then_some(name)
    })
}

/// The fields of one table while it is read.
pub(crate) struct Fields<'a, 'd, 'p> {
    table: &'a DeTable<'d>,
    keys: std::slice::Iter<'static, Key>,
    pub(crate) at: At,
    problems: &'a mut Problems<'p>,
}

impl Fields<'_, '_, '_> {
    /// The value of the next key, its default, or nothing; whatever is wrong has been reported.
    pub(crate) fn next<T: Shape>(&mut self) -> Option<Found<T>> {
        let key = self.keys.next().expect("one key per field");
        let path = self.at.key(key.name);
        if let Some(value) = self.table.get(key.name) {
            let span = value.span();
            let value = T::read(Value { value, path: &path }, key.rule, self.problems)?;
            return Some(Found { value, span });
        }
        let span = self.at.span.clone();
        match key.need {
            Need::Required => {
                let wanted = format!("{} ({})", key.summary(), key.doc);
                self.problems
                    .add(Fault::MissingKey, &span, path, "no such key", wanted);
                None
            }
            Need::Default(number) => {
                let value = T::from_default(number)?;
                Some(Found { value, span })
            }
            Need::Optional(_) => None,
        }
    }
}

/// The name of a key without the mark of one that is a word of the language.
pub(crate) const fn plain(name: &'static str) -> &'static str {
    match name.as_bytes() {
        [b'r', b'#', ..] => name.split_at(2).1,
        _ => name,
    }
}

/// Declares a table once: the struct that mirrors it and the list of its keys.
macro_rules! table {
    (
        $(#[$doc:meta])*
        $table:ident {
            $($key:ident: $shape:ty, $need:expr, $rule:expr, $text:literal;)*
        }
    ) => {
        $(#[$doc])*
        #[derive(Debug, Clone)]
        pub(crate) struct $table {
            at: $crate::table::At,
            $(pub(crate) $key: Option<$crate::table::Found<$shape>>,)*
        }

        impl $crate::table::Table for $table {
            const KEYS: &'static [$crate::table::Key] = &[$($crate::table::Key {
                name: $crate::table::plain(stringify!($key)),
                need: $need,
                rule: $rule,
                doc: $text,
            },)*];

            fn schemas() -> Vec<serde_json::Value> {
                vec![$(<$shape as $crate::shape::Shape>::schema($rule),)*]
            }

            fn take(fields: &mut $crate::table::Fields<'_, '_, '_>) -> Self {
                Self {
                    at: fields.at.clone(),
                    $($key: fields.next(),)*
                }
            }

            fn at(&self) -> &$crate::table::At {
                &self.at
            }
        }
    };
}
pub(crate) use table;

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_near_name_is_offered_and_a_far_one_is_not() {
        let known = ["voc_v", "vmp_v", "voc_temp_ratio_per_k", "count"];
        assert_eq!(near("voc", known.into_iter()), "`voc_v`");
        assert_eq!(near("Voc_V", known.into_iter()), "`voc_v`");
        assert_eq!(near("cuont", known.into_iter()), "`count`");
        assert!(near("colour_of_frame", known.into_iter()).starts_with("one of: "));
    }
}
