//! A unit however it is written.

use super::error::UnitError;
use super::quantity::Quantity;
use super::table::{known, of};
use super::unit::Unit;

/// The unit that a person wrote, whatever the marks of multiplication, powers, micro and ohm.
///
/// # Errors
/// [`UnitError::Unknown`] with the units that would do.
pub fn find(quantity: Quantity, text: &str) -> Result<&'static Unit, UnitError> {
    let wanted = plain(text);
    of(quantity)
        .find(|unit| plain(unit.text) == wanted)
        .ok_or_else(|| UnitError::Unknown {
            text: text.trim().to_owned(),
            quantity,
            known: known(quantity),
        })
}

/// A unit text with one spelling for everything that is written in several ways.
pub(super) fn plain(text: &str) -> String {
    let mut plain = text.trim().to_owned();
    for (from, to) in [
        ("min⁻¹", "rpm"),
        ("min^-1", "rpm"),
        ("min-1", "rpm"),
        ("rev/min", "rpm"),
        ("r/min", "rpm"),
        ("1/min", "rpm"),
        ("RPM", "rpm"),
        ("1000 rpm", "krpm"),
        ("1000rpm", "krpm"),
        ("ozf", "oz"),
        ("lbf", "lb"),
        ("gf", "g"),
        ("rad/(V·s)", "rad/s/V"),
        ("rad/(s·V)", "rad/s/V"),
        ("rad/(V s)", "rad/s/V"),
        ("rad/V/s", "rad/s/V"),
        ("(rad/s)", "rad/s"),
        ("A/(N·m)", "A/N·m"),
        ("A/(N m)", "A/N·m"),
        ("V/(rad/s)", "V·s/rad"),
        ("V/rad/s", "V·s/rad"),
        ("Ω", "ohm"),
        ("Ω", "ohm"),
        ("Ohms", "ohm"),
        ("ohms", "ohm"),
        ("Ohm", "ohm"),
        ("²", "2"),
        ("^2", "2"),
        ("µ", "u"),
        ("μ", "u"),
        ("℃", "°C"),
        ("degC", "°C"),
    ] {
        plain = plain.replace(from, to);
    }
    let plain: String = plain
        .chars()
        .filter(|letter| !matches!(letter, ' ' | '·' | '⋅' | '*' | '.' | '-' | '\u{a0}'))
        .collect();
    plain.strip_prefix('°').unwrap_or(&plain).to_owned()
}
