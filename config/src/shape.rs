//! Shapes that a value may have: number, whole number, text, word, date, table, tables.
//! Never in here: which key has which shape.

use crate::problem::{Fault, Problems};
use crate::schema;
use crate::table::{At, Rule, Table, near, read};
use chrono::{NaiveDate, NaiveTime};
use std::ops::Range;
use toml::Spanned;
use toml::de::{DeTable, DeValue};

/// What stands in a file that is only begun; it is no text of any key.
pub const FILL_IN: &str = "FILL IN";

/// A value of the file and the path at which it stands.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Value<'a, 'd> {
    pub(crate) value: &'a Spanned<DeValue<'d>>,
    pub(crate) path: &'a str,
}

/// Something that can be read from one value.
pub(crate) trait Shape: Sized {
    /// The value, or nothing after a problem has been reported.
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self>;

    /// The same as a JSON Schema.
    fn schema(rule: Rule) -> serde_json::Value;

    /// From a key's default number; only for shapes that have one.
    fn from_default(_: f64) -> Option<Self> {
        None
    }
}

impl<'a> Value<'a, '_> {
    pub(crate) fn span(self) -> Range<usize> {
        self.value.span()
    }

    pub(crate) fn table(self) -> Option<&'a DeTable<'a>> {
        self.value.get_ref().as_table()
    }

    /// Reports that something else belongs here.
    pub(crate) fn wrong_type<T>(self, wanted: &str, problems: &mut Problems<'_>) -> Option<T> {
        self.report(Fault::WrongType, wanted, problems)
    }

    /// Reports that this value is not the one that belongs here.
    pub(crate) fn report<T>(
        self,
        fault: Fault,
        wanted: impl Into<String>,
        problems: &mut Problems<'_>,
    ) -> Option<T> {
        problems.add(fault, &self.span(), self.path, self.in_words(), wanted);
        None
    }

    /// The value as a message shows it.
    pub(crate) fn in_words(self) -> String {
        match self.value.get_ref() {
            DeValue::String(text) => format!("text {:?}", &**text),
            DeValue::Integer(number) => number.to_string(),
            DeValue::Float(number) => number.to_string(),
            DeValue::Boolean(truth) => truth.to_string(),
            DeValue::Datetime(date) => format!("date {date}"),
            DeValue::Array(_) => "an array".to_owned(),
            DeValue::Table(_) => "a table".to_owned(),
        }
    }

    fn number(self) -> Option<f64> {
        match self.value.get_ref() {
            DeValue::Float(number) => number.as_str().parse().ok(),
            DeValue::Integer(_) => self.whole_number().map(|number| number as f64),
            DeValue::String(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Array(_)
            | DeValue::Table(_) => None,
        }
    }

    fn whole_number(self) -> Option<i64> {
        let number = self.value.get_ref().as_integer()?;
        i64::from_str_radix(number.as_str(), number.radix()).ok()
    }
}

const NUMBER: &str = "a number";

impl Shape for f64 {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(number) = value.number() else {
            return value.wrong_type(&in_words(rule, NUMBER), problems);
        };
        in_range(number, value, rule, problems)
    }

    fn schema(rule: Rule) -> serde_json::Value {
        schema::number("number", rule)
    }

    fn from_default(number: f64) -> Option<Self> {
        Some(number)
    }
}

fn in_words(rule: Rule, noun: &str) -> String {
    match rule {
        Rule::Range { low, high, unit } => {
            let gap = if unit.is_empty() { "" } else { " " };
            format!("{noun} from {low} to {high}{gap}{unit}")
        }
        Rule::OneOf(words) => words.join(" | "),
        Rule::Words(words) => words.to_owned(),
    }
}

fn in_range(
    number: f64,
    value: Value<'_, '_>,
    rule: Rule,
    problems: &mut Problems<'_>,
) -> Option<f64> {
    let Rule::Range { low, high, unit } = rule else {
        return Some(number);
    };
    // Written so that NaN fails.
    if number >= low && number <= high {
        return Some(number);
    }
    let mut wanted = in_words(rule, NUMBER);
    if let Some(hint) = other_unit(number, low, high, unit) {
        wanted = format!("{wanted}; {hint}");
    }
    value.report(Fault::OutOfRange, wanted, problems)
}

/// The usual slips: percent for a ratio, kilo for the plain unit.
fn other_unit(number: f64, low: f64, high: f64, unit: &str) -> Option<String> {
    let fits = |x: f64| x >= low && x <= high;
    match unit {
        "ratio" if fits(number / 100.0) => Some(format!("{number} % is {}", number / 100.0)),
        "1/K" if fits(number / 100.0) => Some(format!("{number} %/K is {}", number / 100.0)),
        "W" | "VA" | "ohm" if fits(number * 1000.0) => {
            Some(format!("{number} k{unit} is {}", number * 1000.0))
        }
        _ => None,
    }
}

impl Shape for u32 {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(number) = value.whole_number() else {
            return value.wrong_type(&in_words(rule, "a whole number"), problems);
        };
        let number = in_range(number as f64, value, rule, problems)?;
        Some(number as u32)
    }

    fn schema(rule: Rule) -> serde_json::Value {
        schema::number("integer", rule)
    }

    fn from_default(number: f64) -> Option<Self> {
        Some(number as u32)
    }
}

impl Shape for String {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(text) = value.value.get_ref().as_str() else {
            let words = in_words(rule, NUMBER);
            let words = words
                .strip_prefix("text")
                .map_or(format!(": {words}"), str::to_owned);
            return value.wrong_type(&format!("text{words}"), problems);
        };
        match rule {
            Rule::OneOf(words) if !words.contains(&text) => {
                let wanted = near(text, words.iter().copied());
                value.report(Fault::UnknownName, wanted, problems)
            }
            _ if text.trim().is_empty() || text == FILL_IN => {
                value.report(Fault::WrongType, in_words(rule, NUMBER), problems)
            }
            Rule::OneOf(_) | Rule::Range { .. } | Rule::Words(_) => Some(text.to_owned()),
        }
    }

    fn schema(rule: Rule) -> serde_json::Value {
        schema::text(rule)
    }
}

/// Header of a column, which may be empty: tools that write tables leave the first one so.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Header(pub(crate) String);

impl Shape for Header {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        match value.value.get_ref().as_str() {
            Some("") => Some(Self(String::new())),
            _ => String::read(value, rule, problems).map(Self),
        }
    }

    fn schema(_: Rule) -> serde_json::Value {
        serde_json::json!({ "type": "string" })
    }
}

/// A name that other keys and channel addresses refer to.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Name(pub(crate) String);

impl Shape for Name {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let text = String::read(value, rule, problems)?;
        let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
        if text.chars().all(plain) {
            return Some(Self(text));
        }
        let wanted = "a plain name of letters, digits, - and _";
        value.report(Fault::WrongType, wanted, problems)
    }

    fn schema(_: Rule) -> serde_json::Value {
        schema::pattern("^[A-Za-z0-9_-]+$")
    }
}

impl Shape for NaiveDate {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        const WANTED: &str = "a date, as 2024-03-15";
        if let Some(Ok(date)) = value.value.get_ref().as_str().map(str::parse) {
            return Some(date);
        }
        let DeValue::Datetime(stamp) = value.value.get_ref() else {
            return value.wrong_type(WANTED, problems);
        };
        let (Some(date), None) = (stamp.date, stamp.time) else {
            return value.wrong_type(WANTED, problems);
        };
        let (year, month, day) = (date.year.into(), date.month.into(), date.day.into());
        NaiveDate::from_ymd_opt(year, month, day).or_else(|| value.wrong_type(WANTED, problems))
    }

    fn schema(_: Rule) -> serde_json::Value {
        schema::pattern("^[0-9]{4}-[0-9]{2}-[0-9]{2}$")
    }
}

impl Shape for NaiveTime {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        const WANTED: &str = "a time of day, as \"22:30\"";
        let Some(text) = value.value.get_ref().as_str() else {
            return value.wrong_type(WANTED, problems);
        };
        let time = NaiveTime::parse_from_str(text, "%H:%M");
        time.ok().or_else(|| value.wrong_type(WANTED, problems))
    }

    fn schema(_: Rule) -> serde_json::Value {
        schema::pattern("^([01]?[0-9]|2[0-3]):[0-5]?[0-9]$")
    }
}

/// One table.
impl<T: Table> Shape for T {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(table) = value.table() else {
            return value.wrong_type("a table", problems);
        };
        let (path, span) = (value.path.to_owned(), value.span());
        Some(read(table, At { path, span }, problems))
    }

    fn schema(_: Rule) -> serde_json::Value {
        schema::table(T::KEYS, T::schemas())
    }
}

/// Tables of an array, which must not be empty.
impl<T: Table> Shape for Vec<T> {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        const WANTED: &str = "one table or more, each under a [[...]] header of its own";
        let array = value.value.get_ref().as_array().filter(|a| !a.is_empty());
        let Some(array) = array else {
            return value.wrong_type(WANTED, problems);
        };
        let mut tables = Vec::new();
        for (i, item) in array.iter().enumerate() {
            let path = format!("{}[{}]", value.path, i + 1);
            let item = Value {
                value: item,
                path: &path,
            };
            tables.extend(T::read(item, Rule::Words("a table"), problems));
        }
        Some(tables)
    }

    fn schema(rule: Rule) -> serde_json::Value {
        schema::array(T::schema(rule), 1, None)
    }
}
