//! What a cell holds, and plain decimal numbers.

/// What a cell holds.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Cell {
    Number(f64),
    /// A number with a unit or a prefix behind it (`10 us`, `1.0u`): its value with the prefix applied, and the SI symbol
    /// where a unit is written.
    Quantity(f64, Option<&'static str>),
    /// Nothing between the delimiters.
    Blank,
    /// A mark that says there is no value (`NaN`, `---`, ...).
    Missing,
    /// A mark that says the value left the range; true for the positive side.
    Overrange(bool),
    Text,
}

/// Numbers of this size and above stand for infinity (IEEE 488.2 / SCPI-99 section 7.2.1.4).
pub const INFINITY_MARK: f64 = 9.9e37;

/// With a decimal comma longer cells are no numbers; no instrument prints them.
pub const LONGEST_NUMBER: usize = 64;

/// A finite-looking number; `None` when the text is not wholly one.
pub fn number(cell: &[u8], decimal: u8) -> Option<f64> {
    if decimal == b'.' {
        return fast_float2::parse(cell).ok();
    }
    // The decimal comma is swapped in a buffer on the stack.
    let mut buffer = [0u8; LONGEST_NUMBER];
    let swapped = buffer.get_mut(..cell.len())?;
    for (to, &from) in swapped.iter_mut().zip(cell) {
        *to = match from {
            b',' => b'.',
            b'.' => return None,
            other => other,
        };
    }
    fast_float2::parse(&*swapped).ok()
}

/// Without blanks at its ends; a tab is a blank too.
pub fn trim(cell: &[u8]) -> &[u8] {
    cell.trim_ascii()
}
