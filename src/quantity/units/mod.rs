//! Common units of motor data: how sheets and workshops write quantities, and their SI values.
//!
//! Conversion happens only at the edges: what is typed or printed.
//!
//! * [`Quantity`]: the kinds of quantity. [`Unit`]: one unit, and values to and from SI.
//! * [`UNITS`]: the table of units. `factor`: SI value of one of its units, for tables of the crate.
//! * [`find`]: a unit however it is written. [`parse_si`]: a number with its unit.

mod quantity;
mod table;
mod unit;

pub use quantity::Quantity;
pub(crate) use table::factor;
pub use table::{RPM, UNITS, of, si};
pub use unit::Unit;

use table::known;

/// A unit or a number that cannot be read: what was found, and what would do.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct UnitError(pub(super) String);

/// The unit that a person wrote, whatever the marks of multiplication, powers, micro and ohm.
///
/// # Errors
/// [`UnitError`] with the units that would do.
pub fn find(quantity: Quantity, text: &str) -> Result<&'static Unit, UnitError> {
    let wanted = plain(text);
    let found = of(quantity).find(|unit| plain(unit.text) == wanted);
    found.ok_or_else(|| {
        let (text, known) = (text.trim(), known(quantity));
        let rest = text.strip_prefix(',').unwrap_or_default();
        UnitError(match rest.starts_with(|c: char| c.is_ascii_digit()) {
            true => {
                let digits = rest.chars().take_while(char::is_ascii_digit).count();
                let thousands = match digits {
                    3 => ", or the digits without a separator of thousands",
                    _ => "",
                };
                format!(
                    "\"{text}\" behind the number looks like a decimal comma; write a decimal point{thousands}"
                )
            }
            false => {
                format!("\"{text}\" is not a recognised unit of {quantity}; use one of {known}")
            }
        })
    })
}

/// Number and unit in one text, e.g. `23.4 mN·m/A`, `24V`, `1.5e3 rpm`; returns number and unit as written.
///
/// A plain number without unit counts as [`Quantity::Ratio`] only.
///
/// # Errors
/// [`UnitError`] with what would do.
pub fn parse(quantity: Quantity, text: &str) -> Result<(f64, &'static Unit), UnitError> {
    let text = text.trim();
    let (number, rest) = split_number(text)
        .filter(|(number, _)| number.is_finite())
        .ok_or_else(|| no_number(quantity, text))?;
    match (rest, quantity) {
        ("", Quantity::Ratio) => Ok((number, si(quantity))),
        ("", _) => Err(UnitError(format!(
            "\"{text}\" has no unit; expected a number and a unit of {quantity}, one of {}",
            known(quantity)
        ))),
        _ => Ok((number, find(quantity, rest)?)),
    }
}

/// Like [`parse`], to SI.
///
/// # Errors
/// As [`parse`].
pub fn parse_si(quantity: Quantity, text: &str) -> Result<f64, UnitError> {
    let (number, unit) = parse(quantity, text)?;
    Some(unit.to_si(number))
        .filter(|si| si.is_finite())
        .ok_or_else(|| no_number(quantity, text.trim()))
}

pub(super) fn no_number(quantity: Quantity, text: &str) -> UnitError {
    UnitError(format!(
        "\"{text}\" has no number in front; expected a number and a unit of {quantity}, e.g. \"1.5 {}\"",
        si(quantity).text
    ))
}

/// The longest number at the start of a text, and what follows it without blanks around; infinite where it is too large.
pub(super) fn split_number(text: &str) -> Option<(f64, &str)> {
    let text = text.trim();
    let mut found = None;
    for (place, letter) in text.char_indices() {
        if !matches!(letter, '0'..='9' | '.' | '+' | '-' | 'e' | 'E') {
            break;
        }
        let end = place + letter.len_utf8();
        if let Ok(number) = text[..end].parse::<f64>() {
            found = Some((number, text[end..].trim()));
        }
    }
    found
}

/// A unit text with one spelling for everything that is written in several ways.
fn plain(text: &str) -> String {
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

#[cfg(test)]
mod tests;
