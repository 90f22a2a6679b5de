//! Words and signs that stand for a value that is not there or left the range.

use super::plain::Cell;
use crate::quantity::is_listed;

/// Longest mark, in bytes.
const LONGEST_MARK: usize = 20;

const OVER: &str = "inf infinity ol over overflow overload overrange overrng outofrange oor clip \
    clipped 1inf ovl ovld ovfl ovflw oflow saturated";
const UNDER: &str = "underflow underrange undrng ul";
const MISSING: &str = "nan na null none nil missing invalid 1qnan 1ind 1nan nc nodata novalue \
    nosignal notconnected err error undef undefined empty blank badvalue off";

/// A mark for a value that is not there or left the range; text where it is none.
pub(super) fn mark(cell: &[u8]) -> Cell {
    let (positive, bare) = match cell.first() {
        Some(b'-') => (false, &cell[1..]),
        Some(b'+') => (true, &cell[1..]),
        _ => (true, cell),
    };
    if let [sign @ (b'<' | b'>'), limit @ ..] = cell
        && (super::number(super::trim(limit), b'.').is_some()
            || super::number(super::trim(limit), b',').is_some())
    {
        return Cell::Overrange(*sign == b'>');
    }
    let all = |is: fn(u8) -> bool| bare.iter().all(|&b| is(b));
    if cell.len() > LONGEST_MARK {
        return Cell::Text;
    }
    if bare.is_empty() || all(|b| matches!(b, b'-' | b'.' | b' ')) || all(|b| b == b'?') {
        return Cell::Missing;
    }
    if all(|b| b == b'*') || bare == "\u{221e}".as_bytes() {
        return Cell::Overrange(positive);
    }
    if all(|b| b == b'>') || all(|b| b == b'<') {
        return Cell::Overrange(bare[0] == b'>');
    }
    // Spreadsheets print their errors so: `#VALUE!`, `#DIV/0!`, `#N/A`.
    if bare.len() > 3 && bare[0] == b'#' && matches!(bare[bare.len() - 1], b'!' | b'?' | b'A') {
        return Cell::Missing;
    }
    word(bare, positive)
}

/// A word is compared without case, blanks and signs: `n.c.`, `Over range`, `1.#INF`.
fn word(bare: &[u8], positive: bool) -> Cell {
    let mut letters = [0u8; LONGEST_MARK];
    let mut length = 0;
    for byte in bare.iter().filter(|b| b.is_ascii_alphanumeric()) {
        letters[length] = byte.to_ascii_lowercase();
        length += 1;
    }
    match std::str::from_utf8(&letters[..length]) {
        Ok(word) if bare.is_ascii() && is_listed(OVER, word) => Cell::Overrange(positive),
        Ok(word) if bare.is_ascii() && is_listed(UNDER, word) => Cell::Overrange(false),
        Ok(word) if bare.is_ascii() && is_listed(MISSING, word) => Cell::Missing,
        _ => Cell::Text,
    }
}
