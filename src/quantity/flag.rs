//! A value with a unit as a flag takes it: `24V`, `50mohm`, `5160rpm`.

use super::units::{Quantity, split_number};

/// The units that a flag offers, each with its factor to SI; without a unit the first is assumed.
#[derive(Clone, Copy, Debug)]
pub struct FlagUnits {
    /// What the flag takes.
    pub quantity: Quantity,
    /// The units as they are typed.
    pub units: &'static [(&'static str, f64)],
}

/// A flag's value that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum FlagError {
    /// No number in front.
    #[error("\"{text}\" is no {quantity}: expected a number with one of the units {known}")]
    NoNumber {
        /// The whole value.
        text: String,
        /// What the flag takes.
        quantity: Quantity,
        /// The units offered.
        known: String,
    },
    /// A unit that the flag does not offer.
    #[error("\"{unit}\" is no unit of a {quantity} known here: use {known}")]
    UnknownUnit {
        /// The unit as typed.
        unit: String,
        /// What the flag takes.
        quantity: Quantity,
        /// The units offered.
        known: String,
    },
    /// A number too large.
    #[error("\"{text}\" is not a finite {quantity}")]
    NotFinite {
        /// The whole value.
        text: String,
        /// What the flag takes.
        quantity: Quantity,
    },
}

impl FlagUnits {
    /// The value in SI. Case is ignored in units of more than two letters, so that `RPM` is read and mV and MV are kept apart.
    ///
    /// # Errors
    /// [`FlagError`] with the units offered.
    pub fn parse(&self, text: &str) -> Result<f64, FlagError> {
        let quantity = self.quantity;
        let known = || {
            self.units
                .iter()
                .map(|u| u.0)
                .collect::<Vec<_>>()
                .join(", ")
        };
        let (number, unit) = split_number(text).ok_or_else(|| FlagError::NoNumber {
            text: text.to_owned(),
            quantity,
            known: known(),
        })?;
        let mut offered = self.units.iter();
        let found = if unit.is_empty() {
            offered.next()
        } else {
            offered.find(|(name, _)| {
                name.eq_ignore_ascii_case(unit) && (name.len() > 2 || *name == unit)
            })
        };
        let (_, factor) = found.ok_or_else(|| FlagError::UnknownUnit {
            unit: unit.to_owned(),
            quantity,
            known: known(),
        })?;
        let value = number * factor;
        if value.is_finite() {
            Ok(value)
        } else {
            Err(FlagError::NotFinite {
                text: text.to_owned(),
                quantity,
            })
        }
    }
}
