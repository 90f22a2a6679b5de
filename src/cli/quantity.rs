//! Quantities with a unit on the command line: `24V`, `50mohm`, `5160rpm`.

use std::f64::consts::TAU;

/// A parsed quantity in SI units, or why it could not be read.
type Parsed = Result<f64, String>;

/// Reads a number followed by one of the units, each with its factor to SI; without unit the first holds.
fn parse(text: &str, what: &str, units: &[(&str, f64)]) -> Parsed {
    let trimmed = text.trim();
    let split = trimmed
        .char_indices()
        .find(|(k, c)| {
            c.is_alphabetic() && !is_exponent(trimmed, *k)
                || matches!(c, 'Ω' | 'µ' | '%' | '/' | '°')
        })
        .map_or(trimmed.len(), |(k, _)| k);
    let (number, unit) = trimmed.split_at(split);
    let unit = unit.trim();
    let known = || units.iter().map(|u| u.0).collect::<Vec<_>>().join(", ");
    let value: f64 = number.trim().parse().map_err(|_| {
        format!(
            "\"{text}\" is no {what}: expected a number with one of the units {}",
            known()
        )
    })?;
    let factor = if unit.is_empty() {
        units[0].1
    } else {
        units
            .iter()
            .find(|(name, _)| name.eq_ignore_ascii_case(unit) && (name.len() > 2 || *name == unit))
            .map(|u| u.1)
            .ok_or_else(|| {
                format!(
                    "\"{unit}\" is no unit of a {what} known here: use {}",
                    known()
                )
            })?
    };
    let value = value * factor;
    if value.is_finite() {
        Ok(value)
    } else {
        Err(format!("\"{text}\" is not a finite {what}"))
    }
}

/// True when the letter at `k` is the `e` of an exponent.
fn is_exponent(text: &str, k: usize) -> bool {
    let bytes = text.as_bytes();
    matches!(bytes[k], b'e' | b'E')
        && k > 0
        && (bytes[k - 1].is_ascii_digit() || bytes[k - 1] == b'.')
        && bytes
            .get(k + 1)
            .is_some_and(|c| c.is_ascii_digit() || matches!(c, b'+' | b'-'))
}

/// Volts.
pub fn voltage(text: &str) -> Parsed {
    parse(text, "voltage", &[("V", 1.0), ("mV", 1e-3), ("kV", 1e3)])
}

/// Ohms.
pub fn resistance(text: &str) -> Parsed {
    parse(
        text,
        "resistance",
        &[
            ("ohm", 1.0),
            ("Ω", 1.0),
            ("mohm", 1e-3),
            ("mΩ", 1e-3),
            ("kohm", 1e3),
            ("kΩ", 1e3),
        ],
    )
}

/// Speed in rad/s.
pub fn speed(text: &str) -> Parsed {
    parse(
        text,
        "speed",
        &[
            ("rpm", TAU / 60.0),
            ("rad/s", 1.0),
            ("Hz", TAU),
            ("krpm", 1e3 * TAU / 60.0),
        ],
    )
}

/// Metres.
pub fn length(text: &str) -> Parsed {
    parse(
        text,
        "length",
        &[
            ("mm", 1e-3),
            ("cm", 1e-2),
            ("m", 1.0),
            ("in", 0.0254),
            ("inch", 0.0254),
        ],
    )
}

/// Kilograms.
pub fn mass(text: &str) -> Parsed {
    parse(
        text,
        "mass",
        &[
            ("g", 1e-3),
            ("kg", 1.0),
            ("lb", 0.453_592_37),
            ("oz", 0.028_349_523_125),
        ],
    )
}

/// Degrees Celsius.
pub fn temperature(text: &str) -> Parsed {
    parse(text, "temperature", &[("C", 1.0), ("°C", 1.0)])
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
        let message = voltage("24 rpm").unwrap_err();
        assert!(
            message.contains("rpm") && message.contains("mV"),
            "{message}"
        );
        assert!(speed("fast").unwrap_err().contains("rad/s"));
        // 1 MV is not 1 mV.
        assert!(voltage("1MV").is_err());
    }
}
