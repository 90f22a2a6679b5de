//! Cells that hold codes of bits and not a decimal number.

use super::{Cell, trim};

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
