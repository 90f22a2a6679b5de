//! One cell of a table: a number, a quantity with its unit, a missing value, an overrange mark, or text.

pub mod clock;
mod marks;
mod plain;
mod spellings;
pub mod unit;

pub use plain::{Cell, INFINITY_MARK, LONGEST_NUMBER, number, trim};
pub use spellings::{hexadecimal, is_bits, is_hexadecimal};

use marks::mark;

use spellings::{grouped, suffixed};

/// Reads one cell. `decimal` is `b'.'` or `b','`. Nothing is allocated.
pub fn parse(cell: &[u8], decimal: u8) -> Cell {
    let cell = trim(cell);
    let Some(&first) = cell.first() else {
        return Cell::Blank;
    };
    if let Some(digits) = cell.strip_prefix("\u{2212}".as_bytes()) {
        return parse_negative(digits, decimal);
    }
    let digits = match first {
        b'+' | b'-' => &cell[1..],
        _ => cell,
    };
    let starts_number = match digits.first() {
        Some(b'0'..=b'9') => true,
        Some(&mark) => mark == decimal && digits.get(1).is_some_and(u8::is_ascii_digit),
        None => false,
    };
    if !starts_number {
        return mark(cell);
    }
    match number(cell, decimal) {
        // IEEE 488.2 / SCPI-99 section 7.2.1.4: 9.91E37 stands for not a number.
        Some(value) if value.abs() >= INFINITY_MARK => {
            if value.abs() >= 9.905e37 && value.abs() < 9.92e37 {
                Cell::Missing
            } else {
                Cell::Overrange(value > 0.0)
            }
        }
        Some(value) => Cell::Number(value),
        None if cell.starts_with(b"1.#") || cell.starts_with(b"-1.#") => mark(cell),
        None => match grouped(cell, decimal) {
            Some(value) => Cell::Number(value),
            None => suffixed(cell, decimal),
        },
    }
}

/// A number behind the minus sign of typesetting.
fn parse_negative(digits: &[u8], decimal: u8) -> Cell {
    let mut buffer = [b'-'; LONGEST_NUMBER];
    match buffer.get_mut(1..=digits.len()) {
        Some(place) if digits.first().is_some_and(u8::is_ascii_digit) => {
            place.copy_from_slice(digits);
            parse(&buffer[..=digits.len()], decimal)
        }
        _ => Cell::Text,
    }
}

/// Without the comment marks that may stand before a header.
pub fn trim_start_marks(line: &[u8]) -> &[u8] {
    let at = line
        .iter()
        .position(|b| !matches!(b, b'#' | b'%' | b'!'))
        .unwrap_or(line.len());
    if at > 0 {
        line[at..].trim_ascii_start()
    } else {
        line
    }
}

/// Significant digits as printed: from the first digit that is not zero to the last before the exponent.
pub fn significant_digits(cell: &[u8]) -> u32 {
    let mut count = 0;
    for &byte in cell {
        match byte {
            b'e' | b'E' => break,
            b'0' if count == 0 => {}
            b'0'..=b'9' => count += 1,
            _ => {}
        }
    }
    count
}

/// Digits printed after the decimal mark; `None` for exponent notation.
pub fn decimals(cell: &[u8], decimal: u8) -> Option<usize> {
    let cell = trim(cell);
    if cell.iter().any(|&b| b == b'e' || b == b'E') {
        return None;
    }
    Some(
        cell.iter()
            .position(|&b| b == decimal)
            .map_or(0, |at| cell.len() - at - 1),
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_in_both_decimal_marks() {
        for (text, decimal, value) in [
            ("1.5", b'.', 1.5),
            (" -2,50 ", b',', -2.5),
            ("+55.646000E-06", b'.', 55.646e-6),
            ("0,0000000000000000E+0", b',', 0.0),
            (".5", b'.', 0.5),
            ("-,5", b',', -0.5),
            ("\u{2212}2.5", b'.', -2.5),
            ("5.", b'.', 5.0),
            ("1.205D+01", b'.', 12.05),
        ] {
            assert_eq!(
                parse(text.as_bytes(), decimal),
                Cell::Number(value),
                "{text}"
            );
        }
    }

    #[test]
    fn marks_are_recognised_as_such() {
        for text in [
            "---", "NaN", "-nan", "n/a", "9.91E37", "-", "n.c.", "No Data", "#VALUE!", "err",
        ] {
            assert_eq!(parse(text.as_bytes(), b'.'), Cell::Missing, "{text}");
        }
        for (text, positive) in [
            ("-inf", false),
            ("OL", true),
            ("****", true),
            ("<<<", false),
            ("Over range", true),
            ("-OVFL", false),
            ("1.#INF", true),
            ("9.9e37", true),
            (">3.5", true),
            ("< -3,5", false),
        ] {
            assert_eq!(
                parse(text.as_bytes(), b'.'),
                Cell::Overrange(positive),
                "{text}"
            );
        }
        for text in ["CH1", "1,5", "2016/08/11", "0x12", "12 apples"] {
            assert_eq!(parse(text.as_bytes(), b'.'), Cell::Text, "{text}");
        }
        assert_eq!(parse(b"  ", b'.'), Cell::Blank);
        assert_eq!(parse(b"1.5", b','), Cell::Text);
    }

    #[test]
    fn a_number_with_its_unit_or_prefix_comes_in_si() {
        for (text, decimal, value, unit) in [
            ("12V", b'.', 12.0, Some("V")),
            ("-5000.0 us", b'.', -0.005, Some("s")),
            ("1.0u", b'.', 1e-6, None),
            ("3,5 mA", b',', 3.5e-3, Some("A")),
            ("2K", b'.', 2000.0, None),
        ] {
            assert_eq!(
                parse(text.as_bytes(), decimal),
                Cell::Quantity(value, unit),
                "{text}"
            );
        }
    }

    #[test]
    fn digits_as_printed() {
        assert_eq!(significant_digits(b"-5.9999998e-06"), 8);
        assert_eq!(significant_digits(b"-0.00359750"), 6);
        assert_eq!(significant_digits(b"0"), 0);
        assert_eq!(decimals(b"12.125", b'.'), Some(3));
        assert_eq!(decimals(b"0", b'.'), Some(0));
    }
}
