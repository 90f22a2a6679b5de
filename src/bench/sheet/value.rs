//! One value of a sheet: what it is as a number or a text, and how messages name it.

use toml::de::DeValue;

/// A number, whole or not; `None` where it is none or too large for one.
pub fn finite(value: &DeValue<'_>) -> Option<f64> {
    let number = if let Some(integer) = value.as_integer() {
        i64::from_str_radix(integer.as_str(), integer.radix()).ok()? as f64
    } else {
        value.as_float()?.as_str().parse::<f64>().ok()?
    };
    number.is_finite().then_some(number)
}

pub fn whole(value: &DeValue<'_>) -> Option<f64> {
    finite(value).filter(|n| n.fract() == 0.0 && (1.0..=1e6).contains(n))
}

pub fn string(value: &DeValue<'_>) -> Option<String> {
    value.as_str().map(str::to_string)
}

/// Every element of a list.
pub fn each<T>(value: &DeValue<'_>, one: impl Fn(&DeValue<'_>) -> Option<T>) -> Option<Vec<T>> {
    value.as_array()?.iter().map(|v| one(v.get_ref())).collect()
}

/// The kind of a value in words.
pub fn article(value: &DeValue<'_>) -> &'static str {
    match value {
        DeValue::String(_) => "a text",
        DeValue::Integer(_) => "a whole number",
        DeValue::Float(_) => "a number",
        DeValue::Boolean(_) => "true or false",
        DeValue::Datetime(_) => "a date",
        DeValue::Array(_) => "a list",
        DeValue::Table(_) => "a table",
    }
}

/// What the table of a key is written like.
pub fn example(key: &str) -> &'static str {
    match key {
        "voltage" => "v = 24, limit_percent = 1",
        "winding_temperature" => "c = 23, limit_k = 2",
        "ambient" => "c = 23, limit_k = 1",
        "gain" => "limit_percent = 2",
        "zero" => "limit_divisions = 0.1",
        "speed" | "driven_speed" => "rpm = 5160, limit_rpm = 1",
        "current" => "a = 0.21, limit_percent = 1",
        "leads" => "ohm = 0.15, limit_ohm = 0.03",
        _ => "…",
    }
}

/// The number that a text in quotes begins with, as TOML takes it: `24.0` of "24,0 V". `None` where there is none or a comma may as well set
/// thousands apart.
pub fn bare_number(text: &str) -> Option<String> {
    let text = text.trim();
    let end = text.find(|c: char| !matches!(c, '0'..='9' | '.' | ',' | '-' | '+'));
    let typed = &text[..end.unwrap_or(text.len())];
    let thousands = typed
        .rsplit_once(',')
        .is_some_and(|(_, rest)| rest.len() == 3);
    let number = typed.replacen(',', ".", 1);
    (!thousands && number.parse::<f64>().is_ok()).then_some(number)
}
