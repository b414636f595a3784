//! Shapes of single keys that take more than one: a number or twelve, a word or a table.
//! Never in here: keys with a plain shape.

use crate::problem::{Fault, Problems};
use crate::raw::{ColumnTable, HeatLoss};
use crate::schema;
use crate::shape::{Shape, Value};
use crate::table::{At, Rule, read};
use toml::de::DeValue;

/// One number, or twelve from January.
#[derive(Debug, Clone)]
pub(crate) struct Turbidity(pub(crate) [f64; 12]);

impl Shape for Turbidity {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(array) = value.value.get_ref().as_array() else {
            return Some(Self([f64::read(value, rule, problems)?; 12]));
        };
        let mut months = Vec::new();
        for (i, month) in array.iter().enumerate() {
            let path = &format!("{}[{}]", value.path, i + 1);
            months.push(f64::read(Value { value: month, path }, rule, problems));
        }
        let Ok(months) = <[Option<f64>; 12]>::try_from(months) else {
            return value.wrong_type("one number, or twelve from January", problems);
        };
        let all: Option<Vec<f64>> = months.into_iter().collect();
        Some(Self(all?.try_into().expect("twelve in, twelve out")))
    }

    fn schema(rule: Rule) -> serde_json::Value {
        let number = f64::schema(rule);
        let months = schema::array(number.clone(), 12, Some(12));
        schema::any_of([number, months])
    }

    fn from_default(number: f64) -> Option<Self> {
        Some(Self([number; 12]))
    }
}

const NAMES: Rule = Rule::OneOf(&["open-rack", "close-roof", "insulated-back"]);

/// A named set, or own numbers.
#[derive(Debug, Clone)]
pub(crate) enum Mounting {
    Named(String),
    Own(HeatLoss),
}

impl Shape for Mounting {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        match value.value.get_ref() {
            DeValue::Table(_) => HeatLoss::read(value, rule, problems).map(Self::Own),
            DeValue::String(_) => String::read(value, NAMES, problems).map(Self::Named),
            DeValue::Integer(_)
            | DeValue::Float(_)
            | DeValue::Boolean(_)
            | DeValue::Datetime(_)
            | DeValue::Array(_) => String::read(value, rule, problems).map(Self::Named),
        }
    }

    fn schema(rule: Rule) -> serde_json::Value {
        schema::any_of([String::schema(NAMES), HeatLoss::schema(rule)])
    }
}

/// Points of load ratio and efficiency, rising in load.
#[derive(Debug, Clone)]
pub(crate) struct Efficiency(pub(crate) Vec<(f64, f64)>);

impl Shape for Efficiency {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(table) = value.table() else {
            let ratio = f64::read(value, rule, problems)?;
            return Self::from_default(ratio);
        };
        let mut points = Vec::new();
        for (load, ratio) in table {
            let path = format!("{}.\"{}\"", value.path, load.get_ref());
            // An unquoted 0.5 is two keys to TOML, so the value under it is a table.
            let quoted = ratio.get_ref().as_table().is_none();
            let load_ratio = load.get_ref().parse::<f64>().ok();
            // At most 1.5: overload of an inverter, generously.
            let load_ratio = load_ratio.filter(|l| quoted && *l > 0.0 && *l <= 1.5);
            let Some(load_ratio) = load_ratio else {
                let found = format!("load ratio `{}`", load.get_ref());
                let wanted = "a quoted number above 0 and up to 1.5, as \"0.5\"";
                problems.add(Fault::OutOfRange, &load.span(), &path, found, wanted);
                continue;
            };
            let value = Value {
                value: ratio,
                path: &path,
            };
            points.extend(f64::read(value, rule, problems).map(|ratio| (load_ratio, ratio)));
        }
        if table.is_empty() {
            return value.wrong_type("one point or more", problems);
        }
        points.sort_by(|a, b| a.0.total_cmp(&b.0));
        if points.windows(2).any(|pair| pair[0].0 == pair[1].0) {
            return value.report(Fault::Duplicate, "each load ratio once", problems);
        }
        Some(Self(points))
    }

    fn schema(rule: Rule) -> serde_json::Value {
        let ratio = f64::schema(rule);
        let points = schema::named(ratio.clone(), "^[0-9]*\\.?[0-9]+$");
        schema::any_of([ratio, points])
    }

    fn from_default(number: f64) -> Option<Self> {
        Some(Self(vec![(1.0, number)]))
    }
}

/// Headers of a recording and what stands under them.
#[derive(Debug, Clone)]
pub(crate) struct Columns(pub(crate) Vec<Column>);

/// One column.
#[derive(Debug, Clone)]
pub(crate) struct Column {
    pub(crate) header: String,
    pub(crate) at: At,
    pub(crate) channel: String,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
}

impl Shape for Columns {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(table) = value.table().filter(|t| !t.is_empty()) else {
            return value.wrong_type("a table with one column or more", problems);
        };
        let mut columns = Vec::new();
        for (header, value_of) in table {
            let path = format!("{}.{:?}", value.path, &**header.get_ref());
            let value = Value {
                value: value_of,
                path: &path,
            };
            columns.extend(column(header.get_ref(), value, problems));
        }
        columns.sort_by_key(|column| column.at.span.start);
        Some(Self(columns))
    }

    fn schema(rule: Rule) -> serde_json::Value {
        let column = schema::any_of([String::schema(WORDS), ColumnTable::schema(rule)]);
        schema::named(column, "")
    }
}

const WORDS: Rule = Rule::Words("channel address, or { channel, scale, offset }");

fn column(header: &str, value: Value<'_, '_>, problems: &mut Problems<'_>) -> Option<Column> {
    let (header, path) = (header.to_owned(), value.path.to_owned());
    let span = value.span();
    let Some(table) = value.table() else {
        return Some(Column {
            header,
            channel: String::read(value, WORDS, problems)?,
            at: At { path, span },
            scale: 1.0,
            offset: 0.0,
        });
    };
    let at = At { path, span };
    let table: ColumnTable = read(table, at.clone(), problems);
    let channel = table.channel?;
    Some(Column {
        header,
        at: At {
            path: at.key("channel"),
            span: channel.span,
        },
        channel: channel.value,
        scale: table.scale?.value,
        offset: table.offset?.value,
    })
}
