//! A number with a unit or an engineering prefix behind it.

use super::{Cell, LONGEST_NUMBER, number};
use crate::capture::unit;

/// `10 us`, `12V`, `1.0u`; text where what stands behind the number is neither.
pub(super) fn suffixed(cell: &[u8], decimal: u8) -> Cell {
    quantity(cell, decimal).unwrap_or(Cell::Text)
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
