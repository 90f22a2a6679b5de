//! A sheet as JSON, and JSON as values of a sheet.

use serde_json::{Map, Number, Value as Json};
use toml_edit::{Array, DocumentMut, InlineTable, Item, Value};

/// The sheet as JSON: what a page shows in its forms.
///
/// # Errors
/// The text is not TOML.
pub fn sheet_json(text: &str) -> Result<Json, String> {
    let document: DocumentMut = text
        .parse()
        .map_err(|error: toml_edit::TomlError| error.message().to_owned())?;
    Ok(json_of(document.as_item()))
}

/// True where both say the same; 1 and 1.0 do.
pub fn same(one: &Json, other: &Json) -> bool {
    match (one, other) {
        (Json::Number(a), Json::Number(b)) => a.as_f64() == b.as_f64(),
        (Json::Array(a), Json::Array(b)) => {
            a.len() == b.len() && a.iter().zip(b).all(|(a, b)| same(a, b))
        }
        (Json::Object(a), Json::Object(b)) => {
            let both = |(key, value): (&String, &Json)| b.get(key).is_some_and(|v| same(value, v));
            a.len() == b.len() && a.iter().all(both)
        }
        _ => one == other,
    }
}

/// JSON as a value of the sheet; `None` for what cannot stand there.
pub fn value_of(value: &Json) -> Option<Value> {
    Some(match value {
        Json::Null => return None,
        Json::Bool(flag) => (*flag).into(),
        Json::Number(number) => match number.as_i64() {
            Some(whole) => whole.into(),
            None => number.as_f64().filter(|n| n.is_finite())?.into(),
        },
        Json::String(text) => text.as_str().into(),
        Json::Array(list) => {
            let mut array = Array::new();
            for value in list {
                array.push(value_of(value)?);
            }
            array.into()
        }
        Json::Object(map) => {
            let mut table = InlineTable::new();
            for (key, value) in map {
                table.insert(key, value_of(value)?);
            }
            table.into()
        }
    })
}

/// A part of the sheet as JSON.
pub fn json_of(item: &Item) -> Json {
    match item {
        Item::None => Json::Null,
        Item::Value(value) => json_of_value(value),
        Item::Table(table) => {
            let pairs = table.iter().map(|(k, v)| (k.to_owned(), json_of(v)));
            Json::Object(pairs.collect::<Map<_, _>>())
        }
        Item::ArrayOfTables(tables) => tables
            .iter()
            .map(|table| {
                let pairs = table.iter().map(|(k, v)| (k.to_owned(), json_of(v)));
                Json::Object(pairs.collect())
            })
            .collect(),
    }
}

fn json_of_value(value: &Value) -> Json {
    match value {
        Value::String(text) => Json::String(text.value().clone()),
        Value::Integer(whole) => Json::Number((*whole.value()).into()),
        Value::Float(number) => Number::from_f64(*number.value()).map_or(Json::Null, Json::Number),
        Value::Boolean(flag) => Json::Bool(*flag.value()),
        Value::Datetime(time) => Json::String(time.value().to_string()),
        Value::Array(array) => array.iter().map(json_of_value).collect(),
        Value::InlineTable(table) => {
            let pairs = table.iter().map(|(k, v)| (k.to_owned(), json_of_value(v)));
            Json::Object(pairs.collect())
        }
    }
}
