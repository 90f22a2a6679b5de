//! A value with a unit as a flag takes it: `24V`, `50mohm`, `5160rpm`.

use super::units::{Quantity, factor, split_number};

/// The units that a flag offers, each with its factor to SI; without a unit the first is assumed.
#[derive(Clone, Copy, Debug)]
pub struct FlagUnits {
    /// What the flag takes.
    quantity: Quantity,
    /// The units as they are typed.
    units: &'static [(&'static str, f64)],
}

/// A flag's value that cannot be read.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[non_exhaustive]
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

/// Units that flags of one kind offer: each as typed, with the unit of the table that it means.
macro_rules! flag_units {
    ($quantity:ident, [$(($typed:literal, $unit:literal)),+]) => {{
        const UNITS: &[(&str, f64)] = &[$(($typed, factor(Quantity::$quantity, $unit))),+];
        FlagUnits {
            quantity: Quantity::$quantity,
            units: UNITS,
        }
    }};
}

impl FlagUnits {
    /// A voltage.
    pub const VOLTAGE: FlagUnits = flag_units!(Voltage, [("V", "V"), ("mV", "mV"), ("kV", "kV")]);
    /// A resistance.
    pub const RESISTANCE: FlagUnits = flag_units!(
        Resistance,
        [
            ("ohm", "Ω"),
            ("Ω", "Ω"),
            ("mohm", "mΩ"),
            ("mΩ", "mΩ"),
            ("kohm", "kΩ"),
            ("kΩ", "kΩ")
        ]
    );
    /// A speed.
    pub const SPEED: FlagUnits = flag_units!(
        Speed,
        [
            ("rpm", "rpm"),
            ("rad/s", "rad/s"),
            ("Hz", "rps"),
            ("krpm", "krpm")
        ]
    );
    /// A length.
    pub const LENGTH: FlagUnits = flag_units!(
        Length,
        [
            ("mm", "mm"),
            ("cm", "cm"),
            ("m", "m"),
            ("in", "in"),
            ("inch", "in")
        ]
    );
    /// A mass.
    pub const MASS: FlagUnits =
        flag_units!(Mass, [("g", "g"), ("kg", "kg"), ("lb", "lb"), ("oz", "oz")]);
    /// A temperature.
    pub const TEMPERATURE: FlagUnits = flag_units!(Temperature, [("C", "°C"), ("°C", "°C")]);

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

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn units_and_exponents_are_read() {
        assert_relative_eq!(FlagUnits::VOLTAGE.parse("24V").unwrap(), 24.0);
        assert_relative_eq!(FlagUnits::VOLTAGE.parse(" 1.2e1 ").unwrap(), 12.0);
        assert_relative_eq!(FlagUnits::VOLTAGE.parse("1.2e4mV").unwrap(), 12.0);
        assert_relative_eq!(FlagUnits::RESISTANCE.parse("50 mohm").unwrap(), 0.05);
        assert_relative_eq!(FlagUnits::RESISTANCE.parse("50mΩ").unwrap(), 0.05);
        assert_relative_eq!(
            FlagUnits::SPEED.parse("600rpm").unwrap(),
            20.0 * std::f64::consts::PI,
            max_relative = 1e-15
        );
        assert_relative_eq!(FlagUnits::TEMPERATURE.parse("21.5°C").unwrap(), 21.5);
    }

    #[test]
    fn what_cannot_be_read_is_refused_with_the_units_offered() {
        let message = FlagUnits::VOLTAGE.parse("24 rpm").unwrap_err().to_string();
        assert!(
            message.contains("rpm") && message.contains("mV"),
            "{message}"
        );
        assert!(
            FlagUnits::SPEED
                .parse("fast")
                .unwrap_err()
                .to_string()
                .contains("rad/s")
        );
        // 1 MV is not 1 mV.
        assert!(FlagUnits::VOLTAGE.parse("1MV").is_err());
    }
}
