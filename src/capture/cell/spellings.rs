//! Numbers that are not written as plain decimals: with their digits in groups of three (`1,234.5`, `1.234.567,8`, `12 000`, `12'000`), with
//! a unit or an engineering prefix behind them, and codes of bits.

use super::plain::{Cell, LONGEST_NUMBER, number, trim};
use crate::capture::cell::unit;

/// A grouped number, where it can be read in one way only; `None` for everything else.
///
/// A single group parted by the other decimal mark (`1,234` with a decimal point) could be a fraction, and is none here. Blanks
/// (no-break and thin ones too) and apostrophes part nothing else (ISO 80000-1, section 7.3.1 has the small gap).
pub(super) fn grouped(cell: &[u8], decimal: u8) -> Option<f64> {
    if cell.len() > LONGEST_NUMBER {
        return None;
    }
    let text = std::str::from_utf8(cell).ok()?;
    let unsigned = text.strip_prefix(['+', '-']).unwrap_or(text);
    let other = if decimal == b'.' { ',' } else { '.' };
    let (whole, part) = match unsigned.split_once(decimal as char) {
        Some((whole, part)) => (whole, Some(part)),
        None => (unsigned, None),
    };
    let is_mark = |c: char| {
        c == other
            || matches!(
                c,
                ' ' | '\'' | '\u{a0}' | '\u{2009}' | '\u{202f}' | '\u{2019}'
            )
    };
    let mark = whole.chars().find(|&c| is_mark(c))?;
    let groups: Vec<&str> = whole.split(mark).collect();
    let digits = |text: &str| !text.is_empty() && text.bytes().all(|b| b.is_ascii_digit());
    let (first, others) = groups.split_first()?;
    let regular = digits(first)
        && first.len() <= 3
        && !first.starts_with('0')
        && others.iter().all(|g| g.len() == 3 && digits(g))
        && part.is_none_or(|p| p.bytes().all(|b| b.is_ascii_digit()));
    let certain = mark != other || part.is_some() || others.len() > 1;
    if !(regular && certain) {
        return None;
    }
    let sign = if text.starts_with('-') { "-" } else { "" };
    format!("{sign}{}.{}", groups.concat(), part.unwrap_or("0"))
        .parse()
        .ok()
}

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

/// Hexadecimal digits, with or without `0x`, `$` or `h` about them.
pub fn is_hexadecimal(cell: &[u8]) -> bool {
    let digits = digits(cell);
    (1..=16).contains(&digits.len()) && digits.iter().all(u8::is_ascii_hexdigit)
}

fn digits(cell: &[u8]) -> &[u8] {
    cell.strip_prefix(b"0x")
        .or_else(|| cell.strip_prefix(b"0X"))
        .or_else(|| cell.strip_prefix(b"$"))
        .or_else(|| cell.strip_suffix(b"h"))
        .unwrap_or(cell)
}

/// Reads a cell as a hexadecimal whole number.
pub fn hexadecimal(cell: &[u8]) -> Cell {
    let cell = trim(cell);
    if cell.is_empty() {
        return Cell::Blank;
    }
    let digits = std::str::from_utf8(digits(cell)).ok();
    let code = digits.and_then(|text| u64::from_str_radix(text, 16).ok());
    code.filter(|_| is_hexadecimal(cell))
        .map_or(Cell::Text, |code| Cell::Number(code as f64))
}

/// At least two bits written out, such as `0010`.
pub fn is_bits(cell: &[u8]) -> bool {
    (2..=64).contains(&cell.len()) && cell.iter().all(|b| matches!(b, b'0' | b'1'))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn groups_are_read_where_they_can_mean_one_thing_only() {
        for (text, decimal, value) in [
            ("1,234.5", b'.', Some(1234.5)),
            ("-12.000,0", b',', Some(-12000.0)),
            ("1,234,567", b'.', Some(1_234_567.0)),
            ("12 000", b'.', Some(12000.0)),
            ("12\u{a0}000,25", b',', Some(12000.25)),
            ("1'000", b'.', Some(1000.0)),
            ("1,234", b'.', None),
            ("1.234", b',', None),
            ("0,123.4", b'.', None),
            ("12,34.5", b'.', None),
            ("1 23", b'.', None),
        ] {
            assert_eq!(grouped(text.as_bytes(), decimal), value, "{text}");
        }
    }
}
