//! Values of a sheet read from text, and faults with their place.

use super::checked::SheetError;
use super::printed::{Printed, Tolerance};
use crate::quantity::units::{self, Quantity, UnitError};
use crate::quantity::{nearest, one_line};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::path::Path;
use toml::de::DeValue;

/// Texts of a table by their keys, with their places.
pub type Texts<'k> = BTreeMap<&'k str, (usize, String)>;

/// The text of a sheet; `path` is only for the messages.
pub struct Reader<'a> {
    pub path: &'a Path,
    pub text: &'a str,
}

impl Reader<'_> {
    pub fn line(&self, offset: usize) -> usize {
        let before = &self.text.as_bytes()[..offset.min(self.text.len())];
        1 + before.iter().filter(|byte| **byte == b'\n').count()
    }

    pub fn fault(&self, offset: usize, text: impl Into<String>) -> SheetError {
        let before = &self.text.as_bytes()[..offset.min(self.text.len())];
        let start = before
            .iter()
            .rposition(|byte| *byte == b'\n')
            .map_or(0, |place| place + 1);
        SheetError::Content {
            path: self.path.to_owned(),
            line: self.line(offset),
            column: 1 + String::from_utf8_lossy(&before[start..]).chars().count(),
            text: text.into(),
        }
    }

    pub fn unknown_key(&self, offset: usize, key: &str, known: &[&str]) -> SheetError {
        let near = nearest(key, known);
        let near = near.map(|near| format!("; the nearest known one is `{near}`"));
        self.fault(
            offset,
            format!(
                "unknown key `{key}`{}; known are {}",
                near.unwrap_or_default(),
                known.join(", ")
            ),
        )
    }

    /// The texts of a table with known keys, each with its place.
    pub fn texts<'k>(
        &self,
        start: usize,
        name: &str,
        value: &DeValue<'_>,
        known: &[&'k str],
    ) -> Result<Texts<'k>, SheetError> {
        let table = value
            .as_table()
            .ok_or_else(|| self.wrong_type(start, name, value, "a table"))?;
        let mut texts = BTreeMap::new();
        for (key, field) in table.iter() {
            let place = field.span().start;
            let found = known.iter().find(|k| **k == key.get_ref().as_ref());
            let key =
                found.ok_or_else(|| self.unknown_key(key.span().start, key.get_ref(), known))?;
            let text = field
                .get_ref()
                .as_str()
                .ok_or_else(|| self.wrong_type(place, key, field.get_ref(), "text in quotes"))?;
            texts.insert(*key, (place, text.to_owned()));
        }
        Ok(texts)
    }

    /// A name: one line without invisible characters.
    pub fn name(&self, place: usize, text: &str) -> Result<String, SheetError> {
        match one_line(text) {
            Cow::Borrowed(name) => Ok(name.to_owned()),
            Cow::Owned(shown) => Err(self.fault(
                place,
                format!("\"{shown}\" is a name, expected one line without invisible characters"),
            )),
        }
    }

    pub fn printed(
        &self,
        place: usize,
        quantity: Quantity,
        text: &str,
    ) -> Result<Printed, SheetError> {
        let (number, unit) =
            units::parse(quantity, text).map_err(|error| self.unit_fault(place, &error))?;
        if !unit.to_si(number).is_finite() {
            let si = units::si(quantity).text;
            return Err(self.fault(place, format!("\"{text}\" is beyond any number of {si}")));
        }
        Ok(Printed {
            text: text.trim().to_owned(),
            number,
            unit,
        })
    }

    pub fn above_zero(
        &self,
        place: usize,
        quantity: Quantity,
        text: &str,
    ) -> Result<Printed, SheetError> {
        let printed = self.printed(place, quantity, text)?;
        match printed.number > 0.0 {
            true => Ok(printed),
            false => Err(self.fault(place, format!("\"{text}\" is not above zero"))),
        }
    }

    pub fn temperature(&self, place: usize, text: &str) -> Result<f64, SheetError> {
        let printed = self.printed(place, Quantity::Temperature, text)?;
        if !(-100.0..=400.0).contains(&printed.number) {
            return Err(self.fault(
                place,
                format!("\"{text}\" is no temperature of a winding; expected -100 °C to 400 °C"),
            ));
        }
        Ok(printed.number)
    }

    /// `10 %` (of the value), or a number in a unit of the quantity; a leading `±` is allowed.
    pub fn tolerance(
        &self,
        place: usize,
        quantity: Quantity,
        text: &str,
    ) -> Result<Tolerance, SheetError> {
        let body = text.trim().trim_start_matches('±').trim();
        let (number, unit) = if body.ends_with('%') {
            let (number, unit) = units::parse(Quantity::Ratio, body)
                .map_err(|error| self.unit_fault(place, &error))?;
            (unit.to_si(number), None)
        } else if quantity == Quantity::Ratio {
            return Err(self.fault(
                place,
                format!("\"{text}\" is no tolerance; expected a percentage, e.g. \"10 %\""),
            ));
        } else {
            let printed = self.printed(place, quantity, body)?;
            (printed.number, Some(printed.unit))
        };
        if !(number >= 0.0 && (number < 1.0 || unit.is_some())) {
            return Err(self.fault(
                place,
                format!("\"{text}\" is no tolerance; expected 0 % to below 100 %, or a width"),
            ));
        }
        Ok(Tolerance {
            text: body.to_owned(),
            number,
            unit,
        })
    }

    pub fn unit_fault(&self, place: usize, error: &UnitError) -> SheetError {
        self.fault(place, error.to_string())
    }

    pub fn wrong_type(
        &self,
        place: usize,
        key: &str,
        found: &DeValue<'_>,
        expected: &str,
    ) -> SheetError {
        self.fault(
            place,
            format!(
                "`{key}` is a TOML {}, expected {expected}",
                found.type_str()
            ),
        )
    }
}
