//! A number with a unit or an engineering prefix behind it.

use super::{Cell, LONGEST_NUMBER, number};
use crate::capture::unit;

/// `10 us`, `12V`, `1.0u`; text where what stands behind the number is neither.
pub(super) fn suffixed(cell: &[u8], decimal: u8) -> Cell {
    quantity(cell, decimal)
        .or_else(|| exponent_d(cell, decimal))
        .unwrap_or(Cell::Text)
}

/// `1.205D+01`: the exponent of a double as Fortran prints it.
fn exponent_d(cell: &[u8], decimal: u8) -> Option<Cell> {
    let at = memchr::memchr2(b'd', b'D', cell)?;
    let signed = matches!(cell.get(at + 1), Some(b'+' | b'-'));
    let mut buffer = [0u8; LONGEST_NUMBER];
    let place = buffer.get_mut(..cell.len()).filter(|_| signed)?;
    place.copy_from_slice(cell);
    place[at] = b'e';
    number(place, decimal).map(Cell::Number)
}

fn quantity(cell: &[u8], decimal: u8) -> Option<Cell> {
    if cell.len() > LONGEST_NUMBER {
        return None;
    }
    let is_figure = |b: &u8| b.is_ascii_digit() || *b == decimal;
    let end = cell.iter().rposition(is_figure)? + 1;
    let value = number(&cell[..end], decimal).filter(|v| v.is_finite())?;
    let suffix = std::str::from_utf8(&cell[end..]).ok()?.trim();
    let unit = unit::parse(suffix, false).or_else(|| unit::parse(suffix, true));
    match unit {
        Some(unit) => Some(Cell::Quantity(unit.to_si(value), Some(unit.symbol))),
        None => Some(Cell::Quantity(unit::prefixed(value, suffix)?, None)),
    }
}
