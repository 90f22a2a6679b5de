//! Values with a unit on the command line, `24V`, `50mohm`, `5160rpm`, and the units that each kind of flag offers.

use crate::quantity::units::{Quantity, factor};
use crate::quantity::{FlagError, FlagUnits};

/// Volts.
pub fn voltage(text: &str) -> Result<f64, FlagError> {
    const UNITS: FlagUnits = FlagUnits {
        quantity: Quantity::Voltage,
        units: &[
            ("V", factor(Quantity::Voltage, "V")),
            ("mV", factor(Quantity::Voltage, "mV")),
            ("kV", factor(Quantity::Voltage, "kV")),
        ],
    };
    UNITS.parse(text)
}

/// Ohms.
pub fn resistance(text: &str) -> Result<f64, FlagError> {
    const UNITS: FlagUnits = FlagUnits {
        quantity: Quantity::Resistance,
        units: &[
            ("ohm", factor(Quantity::Resistance, "Ω")),
            ("Ω", factor(Quantity::Resistance, "Ω")),
            ("mohm", factor(Quantity::Resistance, "mΩ")),
            ("mΩ", factor(Quantity::Resistance, "mΩ")),
            ("kohm", factor(Quantity::Resistance, "kΩ")),
            ("kΩ", factor(Quantity::Resistance, "kΩ")),
        ],
    };
    UNITS.parse(text)
}

/// Speed in rad/s.
pub fn speed(text: &str) -> Result<f64, FlagError> {
    const UNITS: FlagUnits = FlagUnits {
        quantity: Quantity::Speed,
        units: &[
            ("rpm", factor(Quantity::Speed, "rpm")),
            ("rad/s", factor(Quantity::Speed, "rad/s")),
            ("Hz", factor(Quantity::Speed, "rps")),
            ("krpm", factor(Quantity::Speed, "krpm")),
        ],
    };
    UNITS.parse(text)
}

/// Metres.
pub fn length(text: &str) -> Result<f64, FlagError> {
    const UNITS: FlagUnits = FlagUnits {
        quantity: Quantity::Length,
        units: &[
            ("mm", factor(Quantity::Length, "mm")),
            ("cm", factor(Quantity::Length, "cm")),
            ("m", factor(Quantity::Length, "m")),
            ("in", factor(Quantity::Length, "in")),
            ("inch", factor(Quantity::Length, "in")),
        ],
    };
    UNITS.parse(text)
}

/// Kilograms.
pub fn mass(text: &str) -> Result<f64, FlagError> {
    const UNITS: FlagUnits = FlagUnits {
        quantity: Quantity::Mass,
        units: &[
            ("g", factor(Quantity::Mass, "g")),
            ("kg", factor(Quantity::Mass, "kg")),
            ("lb", factor(Quantity::Mass, "lb")),
            ("oz", factor(Quantity::Mass, "oz")),
        ],
    };
    UNITS.parse(text)
}

/// Degrees Celsius.
pub fn temperature(text: &str) -> Result<f64, FlagError> {
    const UNITS: FlagUnits = FlagUnits {
        quantity: Quantity::Temperature,
        units: &[
            ("C", factor(Quantity::Temperature, "°C")),
            ("°C", factor(Quantity::Temperature, "°C")),
        ],
    };
    UNITS.parse(text)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn units_and_exponents_are_read() {
        assert_relative_eq!(voltage("24V").unwrap(), 24.0);
        assert_relative_eq!(voltage(" 1.2e1 ").unwrap(), 12.0);
        assert_relative_eq!(voltage("1.2e4mV").unwrap(), 12.0);
        assert_relative_eq!(resistance("50 mohm").unwrap(), 0.05);
        assert_relative_eq!(resistance("50mΩ").unwrap(), 0.05);
        assert_relative_eq!(
            speed("600rpm").unwrap(),
            20.0 * std::f64::consts::PI,
            max_relative = 1e-15
        );
        assert_relative_eq!(temperature("21.5°C").unwrap(), 21.5);
    }

    #[test]
    fn what_cannot_be_read_is_told_with_the_units_known() {
        let message = voltage("24 rpm").unwrap_err().to_string();
        assert!(
            message.contains("rpm") && message.contains("mV"),
            "{message}"
        );
        assert!(speed("fast").unwrap_err().to_string().contains("rad/s"));
        // 1 MV is not 1 mV.
        assert!(voltage("1MV").is_err());
    }
}
