//! A number and its unit in one text.

use super::error::UnitError;
use super::quantity::Quantity;
use super::spelling::find;
use super::table::{known, si};
use super::unit::Unit;

/// Number and unit in one text, e.g. `23.4 mN·m/A`, `24V`, `1.5e3 rpm`; returns number and unit as written.
///
/// A plain number without unit is taken for [`Quantity::Ratio`] only.
///
/// # Errors
/// [`UnitError`] with what would do.
pub fn parse(quantity: Quantity, text: &str) -> Result<(f64, &'static Unit), UnitError> {
    let trimmed = text.trim();
    let (number, rest) = split_number(trimmed)
        .filter(|(number, _)| number.is_finite())
        .ok_or_else(|| no_number(quantity, trimmed))?;
    if rest.is_empty() {
        if quantity == Quantity::Ratio {
            return Ok((number, si(quantity)));
        }
        return Err(UnitError::NoUnit {
            text: trimmed.to_owned(),
            quantity,
            known: known(quantity),
        });
    }
    Ok((number, find(quantity, rest)?))
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

fn no_number(quantity: Quantity, text: &str) -> UnitError {
    UnitError::NoNumber {
        text: text.to_owned(),
        quantity,
        example: format!("1.5 {}", si(quantity).text),
    }
}

/// The longest number at the start of a text, and what follows it without blanks around; infinite where it is too large.
pub(crate) fn split_number(text: &str) -> Option<(f64, &str)> {
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
