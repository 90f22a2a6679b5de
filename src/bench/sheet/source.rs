//! The text of a sheet with its places, and its values as messages name them.

use crate::bench::error::Place;
use std::path::Path;
use std::sync::Arc;
use toml::de::DeValue;

/// Path and text of a sheet, from which places are counted.
#[derive(Clone, Debug)]
pub struct Source<'s> {
    pub path: Arc<Path>,
    pub text: &'s str,
}

impl Source<'_> {
    /// Line and column of a byte offset.
    pub fn place(&self, offset: usize) -> Place {
        let before = self.text.get(..offset).unwrap_or(self.text);
        let line_start = before.rfind('\n').map_or(0, |p| p + 1);
        Place {
            path: self.path.clone(),
            line: before.matches('\n').count() as u32 + 1,
            column: before[line_start..].chars().count() as u32 + 1,
        }
    }
}

/// A number, whole or not; `None` where it is none or too large for one.
pub(super) fn finite(value: &DeValue<'_>) -> Option<f64> {
    let number = if let Some(integer) = value.as_integer() {
        i64::from_str_radix(integer.as_str(), integer.radix()).ok()? as f64
    } else {
        value.as_float()?.as_str().parse::<f64>().ok()?
    };
    number.is_finite().then_some(number)
}

/// The kind of a value in words.
pub(super) fn article(value: &DeValue<'_>) -> &'static str {
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
