//! Shapes of keys that only register maps have. Never in here: keys with a plain shape.

use super::Sentinel;
use super::words;
use crate::problem::{Fault, Problems};
use crate::schema;
use crate::shape::{Shape, Value};
use crate::table::{Rule, near};
use analysis::plant::{EventBit, State};
use std::collections::BTreeMap;
use toml::de::DeValue;

/// A key that is there, also where its value could not be read: then nobody misses it.
#[derive(Debug, Clone)]
pub(crate) struct Given<T>(pub(crate) Option<T>);

impl<T: Shape> Shape for Given<T> {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        Some(Self(T::read(value, rule, problems)))
    }

    fn schema(rule: Rule) -> serde_json::Value {
        T::schema(rule)
    }
}

/// One number, or several.
#[derive(Debug, Clone)]
pub(crate) struct Sentinels(pub(crate) Vec<Sentinel>);

impl Shape for Sentinels {
    fn read(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        let Some(array) = value.value.get_ref().as_array() else {
            return Some(Self(vec![sentinel(value, rule, problems)?]));
        };
        let mut sentinels = Vec::new();
        for (i, item) in array.iter().enumerate() {
            let path = &format!("{}[{}]", value.path, i + 1);
            sentinels.push(sentinel(Value { value: item, path }, rule, problems));
        }
        sentinels.into_iter().collect::<Option<Vec<_>>>().map(Self)
    }

    fn schema(rule: Rule) -> serde_json::Value {
        let number = f64::schema(rule);
        let several = schema::array(number.clone(), 0, None);
        schema::any_of([number, several])
    }
}

fn sentinel(value: Value<'_, '_>, rule: Rule, problems: &mut Problems<'_>) -> Option<Sentinel> {
    // Sixty-four ones are more than the numbers of TOML hold otherwise.
    if let DeValue::Integer(number) = value.value.get_ref()
        && let Ok(whole) = i128::from_str_radix(number.as_str(), number.radix())
    {
        return Some(Sentinel::Whole(whole));
    }
    f64::read(value, rule, problems).map(Sentinel::Float)
}

/// Numbers and words of operating states.
#[derive(Debug, Clone)]
pub(crate) struct StateTable(pub(crate) BTreeMap<i64, State>);

impl Shape for StateTable {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        const WANTED: &str = "a quoted whole number, as \"3\" or \"0x0200\"";
        let number = |text: &str| whole(text);
        entries(
            value,
            WANTED,
            number,
            words::state,
            words::state_words,
            problems,
        )
        .map(Self)
    }

    fn schema(_: Rule) -> serde_json::Value {
        let word = serde_json::json!({ "enum": words::state_words().collect::<Vec<_>>() });
        schema::named(word, "^(-?[0-9]+|0x[0-9A-Fa-f]+)$")
    }
}

/// Places and words of event bits.
#[derive(Debug, Clone)]
pub(crate) struct BitTable(pub(crate) BTreeMap<u8, EventBit>);

impl Shape for BitTable {
    fn read(value: Value<'_, '_>, _: Rule, problems: &mut Problems<'_>) -> Option<Self> {
        const WANTED: &str = "a quoted place of a bit from \"0\" to \"63\"";
        let place = |text: &str| text.parse().ok().filter(|place: &u8| *place < 64);
        entries(
            value,
            WANTED,
            place,
            words::event,
            words::event_words,
            problems,
        )
        .map(Self)
    }

    fn schema(_: Rule) -> serde_json::Value {
        let word = serde_json::json!({ "enum": words::event_words().collect::<Vec<_>>() });
        schema::named(word, "^([0-9]|[1-5][0-9]|6[0-3])$")
    }
}

/// A table of `"key" = "word"`, with every entry that is wrong reported.
fn entries<K: Ord, W, I: Iterator<Item = &'static str>>(
    value: Value<'_, '_>,
    wanted_key: &str,
    key_of: impl Fn(&str) -> Option<K>,
    word_of: impl Fn(&str) -> Option<W>,
    words: impl Fn() -> I,
    problems: &mut Problems<'_>,
) -> Option<BTreeMap<K, W>> {
    let Some(table) = value.table().filter(|table| !table.is_empty()) else {
        return value.wrong_type("a table with one entry or more", problems);
    };
    let (mut entries, mut all) = (BTreeMap::new(), true);
    for (key, word) in table {
        let text: &str = key.get_ref();
        let path = format!("{}.{text:?}", value.path);
        let number = key_of(text);
        if number.is_none() {
            let found = format!("key `{text}`");
            problems.add(Fault::WrongType, &key.span(), &path, found, wanted_key);
        }
        let value = Value {
            value: word,
            path: &path,
        };
        let word = match word.get_ref().as_str() {
            Some(text) => word_of(text)
                .or_else(|| value.report(Fault::UnknownName, near(text, words()), problems)),
            None => value.wrong_type("a word", problems),
        };
        match (number, word) {
            (Some(number), Some(word)) if !entries.contains_key(&number) => {
                entries.insert(number, word);
            }
            (Some(_), Some(_)) => {
                let found = format!("key `{text}` again");
                problems.add(
                    Fault::Duplicate,
                    &key.span(),
                    &path,
                    found,
                    "each number once",
                );
                all = false;
            }
            _ => all = false,
        }
    }
    all.then_some(entries)
}

/// A whole number in words of TOML: decimal, or hexadecimal with 0x.
fn whole(text: &str) -> Option<i64> {
    match text.strip_prefix("0x") {
        Some(hex) => i64::from_str_radix(hex, 16).ok(),
        None => text.parse().ok(),
    }
}
