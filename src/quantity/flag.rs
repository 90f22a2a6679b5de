//! A value with a unit as a flag takes it: `24V`, `50mohm`, `5160rpm`.

use super::units::{Quantity, UnitError, find, no_number, split_number};

/// What a flag takes: a quantity, and the unit that is assumed where none is typed.
#[derive(Clone, Copy, Debug)]
pub struct FlagUnits {
    quantity: Quantity,
    assumed: &'static str,
}

/// Units that flags take by a further name.
const ALIASES: [(&str, &str); 3] = [("Hz", "rps"), ("inch", "in"), ("C", "°C")];

impl FlagUnits {
    const fn new(quantity: Quantity, assumed: &'static str) -> FlagUnits {
        FlagUnits { quantity, assumed }
    }

    /// A voltage.
    pub const VOLTAGE: FlagUnits = FlagUnits::new(Quantity::Voltage, "V");
    /// A resistance.
    pub const RESISTANCE: FlagUnits = FlagUnits::new(Quantity::Resistance, "Ω");
    /// A speed.
    pub const SPEED: FlagUnits = FlagUnits::new(Quantity::Speed, "rpm");
    /// A length.
    pub const LENGTH: FlagUnits = FlagUnits::new(Quantity::Length, "mm");
    /// A mass.
    pub const MASS: FlagUnits = FlagUnits::new(Quantity::Mass, "g");
    /// A temperature.
    pub const TEMPERATURE: FlagUnits = FlagUnits::new(Quantity::Temperature, "°C");

    /// The value in SI. Case is ignored in units of more than two letters, so that `RPM` is read and mV and MV are kept apart.
    ///
    /// # Errors
    /// [`UnitError`] with the units that would do.
    pub fn parse(&self, text: &str) -> Result<f64, UnitError> {
        let quantity = self.quantity;
        let none = || no_number(quantity, text);
        let (number, unit) = split_number(text).ok_or_else(none)?;
        let alias = ALIASES.iter().find(|(name, _)| *name == unit);
        let unit = match alias {
            _ if unit.is_empty() => self.assumed,
            Some((_, unit)) => unit,
            None => unit,
        };
        let lower = || find(quantity, &unit.to_lowercase()).ok();
        let found = match find(quantity, unit) {
            Err(error) if unit.chars().count() > 2 => lower().ok_or(error)?,
            found => found?,
        };
        let value = found.to_si(number);
        value.is_finite().then_some(value).ok_or_else(none)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn units_and_exponents_are_read() {
        for (units, text, expected) in [
            (FlagUnits::VOLTAGE, "24V", 24.0),
            (FlagUnits::VOLTAGE, " 1.2e1 ", 12.0),
            (FlagUnits::VOLTAGE, "1.2e4mV", 12.0),
            (FlagUnits::RESISTANCE, "50 mohm", 0.05),
            (FlagUnits::RESISTANCE, "50mΩ", 0.05),
            (FlagUnits::SPEED, "600RPM", 20.0 * std::f64::consts::PI),
            (FlagUnits::SPEED, "10Hz", 20.0 * std::f64::consts::PI),
            (FlagUnits::LENGTH, "1inch", 0.0254),
            (FlagUnits::TEMPERATURE, "21.5°C", 21.5),
            (FlagUnits::TEMPERATURE, "21.5C", 21.5),
        ] {
            assert_relative_eq!(units.parse(text).unwrap(), expected, max_relative = 1e-15);
        }
    }

    #[test]
    fn what_cannot_be_read_is_refused_with_the_units_offered() {
        let message = FlagUnits::VOLTAGE.parse("24 rpm").unwrap_err().to_string();
        assert!(
            message.contains("rpm") && message.contains("mV"),
            "{message}"
        );
        let message = FlagUnits::SPEED.parse("fast").unwrap_err().to_string();
        assert!(message.contains("rad/s"), "{message}");
        // 1 MV is not 1 mV.
        assert!(FlagUnits::VOLTAGE.parse("1MV").is_err());
    }
}
