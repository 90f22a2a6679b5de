//! A sheet as JSON, and JSON as values of a sheet.

use serde::Serialize;
use serde_json::Value as Json;
use toml_edit::Value;

/// The sheet as JSON: what a page shows in its forms.
///
/// # Errors
/// The text is not TOML.
pub fn sheet_json(text: &str) -> Result<Json, String> {
    toml::from_str(text).map_err(|error| error.message().to_owned())
}

/// JSON as a value of the sheet; `None` for what cannot stand there.
pub fn value_of(value: &Json) -> Option<Value> {
    let mut text = String::new();
    let written = value.serialize(toml::ser::ValueSerializer::new(&mut text));
    written.ok()?.parse().ok()
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

/// The files of one capture, heat record or table.
pub fn files_of(table: &Json) -> Vec<String> {
    match &table["file"] {
        Json::Array(list) => list
            .iter()
            .filter_map(Json::as_str)
            .map(str::to_owned)
            .collect(),
        file => file.as_str().map(str::to_owned).into_iter().collect(),
    }
}
