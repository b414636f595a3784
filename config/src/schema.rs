//! JSON Schemas of the files that people write, for editors. They come from the shapes and keys by which
//! the files are read, so that none can say something else than the reader does. What keys say of each
//! other (one file or one variable, a name that refers to another) no schema here knows: that is told by
//! the check alone.
//! Never in here: a key.

use crate::shape::Shape;
use crate::table::{Key, Need, Rule};
use crate::{messages, raw, registers};
use serde_json::{Map, Value, json};

const DIALECT: &str = "https://json-schema.org/draft/2020-12/schema";

/// A kind of file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum File {
    /// A site file.
    Site,
    /// A register map.
    RegisterMap,
    /// A message map.
    MessageMap,
}

/// The schema of a kind of file. Dates of TOML count as texts, as in the validators of editors.
pub fn schema(file: File) -> Value {
    let (title, mut schema) = match file {
        File::Site => ("Site file", of::<raw::File>()),
        File::RegisterMap => ("Register map", of::<registers::RawMap>()),
        File::MessageMap => ("Message map", of::<messages::RawMap>()),
    };
    schema["$schema"] = json!(DIALECT);
    schema["title"] = json!(format!("{title} of Noonmark"));
    schema
}

fn of<T: Shape>() -> Value {
    T::schema(Rule::Words("a file"))
}

/// A table: its keys and no others.
pub(crate) fn table(keys: &[Key], values: impl IntoIterator<Item = Value>) -> Value {
    let mut properties = Map::new();
    for (key, mut value) in keys.iter().zip(values) {
        value["description"] = json!(format!("{} ({})", key.doc, key.summary()));
        if let Need::Default(number) = key.need {
            value["default"] = json!(number);
        }
        properties.insert(key.name.to_owned(), value);
    }
    let required = keys.iter().filter(|key| key.need == Need::Required);
    let required: Vec<&str> = required.map(|key| key.name).collect();
    json!({
        "type": "object",
        "properties": properties,
        "required": required,
        "additionalProperties": false,
    })
}

/// A number or a whole number, within a range if the key has one.
pub(crate) fn number(kind: &str, rule: Rule) -> Value {
    match rule {
        Rule::Range { low, high, .. } => json!({ "type": kind, "minimum": low, "maximum": high }),
        Rule::OneOf(_) | Rule::Words(_) => json!({ "type": kind }),
    }
}

/// A text: one of some words, or anything but nothing and the mark of what is to be filled in.
pub(crate) fn text(rule: Rule) -> Value {
    match rule {
        Rule::OneOf(words) => json!({ "enum": words }),
        Rule::Range { .. } | Rule::Words(_) => json!({
            "type": "string",
            "pattern": "\\S",
            "not": { "const": crate::FILL_IN },
        }),
    }
}

/// A text of a form.
pub(crate) fn pattern(pattern: &str) -> Value {
    json!({ "type": "string", "pattern": pattern })
}

/// One of several.
pub(crate) fn any_of(several: impl Into<Vec<Value>>) -> Value {
    json!({ "anyOf": several.into() })
}

/// One or more of the same under names of the file's own.
pub(crate) fn named(value: Value, names: &str) -> Value {
    json!({
        "type": "object",
        "additionalProperties": value,
        "propertyNames": { "pattern": names },
        "minProperties": 1,
    })
}

/// An array of the same.
pub(crate) fn array(value: Value, least: usize, most: Option<usize>) -> Value {
    let mut array = json!({ "type": "array", "items": value, "minItems": least });
    if let Some(most) = most {
        array["maxItems"] = json!(most);
    }
    array
}
