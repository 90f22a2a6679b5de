//! The numbers of one chunk of text: whole lines in which every cell that is kept is a plain number.

use super::table::Table;
use crate::capture::cell::{self, Cell};
use crate::capture::layout::Layout;
use crate::capture::time::TimeChunk;
use memchr::{memchr, memchr2};
use std::borrow::Cow;

/// What a cell of a row is read for.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Use {
    Time,
    /// The values of one column, by its place among those that are kept.
    Value(usize),
    Skipped,
}

/// The cells of a row, and how they are written.
pub(super) struct RowPlan {
    cells: Vec<Use>,
    values: usize,
    delimiter: u8,
    decimal: u8,
}

impl RowPlan {
    pub fn new(layout: &Layout, table: &Table) -> RowPlan {
        let time = table.time.as_ref().map(|c| c.column);
        let role = |column| {
            let value = table.values.iter().position(|c| c.column == column);
            match value {
                _ if time == Some(column) => Use::Time,
                Some(value) => Use::Value(value),
                None => Use::Skipped,
            }
        };
        RowPlan {
            cells: (0..layout.columns.len()).map(role).collect(),
            values: table.values.len(),
            delimiter: layout.dialect.delimiter,
            decimal: layout.dialect.decimal,
        }
    }

    /// The text with a point as decimal mark. A point that was none before becomes a comma, so that it is no number now.
    fn with_points<'t>(&self, text: &'t [u8]) -> Cow<'t, [u8]> {
        if self.decimal == b'.' {
            return Cow::Borrowed(text);
        }
        let swapped = text.iter().map(|byte| match byte {
            b',' => b'.',
            b'.' => b',',
            other => *other,
        });
        Cow::Owned(swapped.collect())
    }
}

/// The numbers of one chunk.
pub(super) struct Chunk {
    pub rows: usize,
    /// Where the table has a column of time.
    pub times: Option<TimeChunk>,
    /// Most significant digits printed in the column of time.
    pub time_digits: u32,
    /// One column after the other.
    pub values: Vec<Vec<f64>>,
}

impl Chunk {
    /// `None` where a cell is odd, or a row has too few cells or too many.
    pub fn read(text: &[u8], plan: &RowPlan) -> Option<Chunk> {
        let text = plan.with_points(text);
        let line = memchr(b'\n', &text)? + 1;
        let room = text.len() / line + text.len() / (8 * line) + 1;
        let mut times = Vec::new();
        let mut values = vec![Vec::with_capacity(room); plan.values];
        let mut repeats = vec![RepeatCache::new(); plan.values];
        let mut time_digits = 0;
        let mut rows = 0;
        let mut rest = &*text;
        while !rest.is_empty() {
            for (place, role) in plan.cells.iter().enumerate() {
                let end = match place + 1 == plan.cells.len() {
                    true => End::Line,
                    false => End::Delimiter(plan.delimiter),
                };
                match role {
                    Use::Skipped => rest = end.skip(rest, plan.delimiter)?,
                    Use::Value(column) => {
                        let (value, behind) = repeats[*column].number(rest, end)?;
                        values[*column].push(value);
                        rest = behind;
                    }
                    Use::Time => {
                        let number = end.number(rest)?;
                        times.push(number.value);
                        if digits_at_most(number.cell) > time_digits {
                            time_digits = time_digits.max(cell::significant_digits(number.cell));
                        }
                        rest = number.behind;
                    }
                }
            }
            rows += 1;
        }
        Some(Chunk {
            rows,
            times: plan
                .cells
                .contains(&Use::Time)
                .then(|| TimeChunk::new(times)),
            time_digits,
            values,
        })
    }
}

/// A quick bound on the significant digits of a cell: its bytes from the first digit that is not zero.
#[inline]
fn digits_at_most(cell: &[u8]) -> u32 {
    let first = cell.iter().position(|byte| matches!(byte, b'1'..=b'9'));
    first.map_or(0, |at| (cell.len() - at) as u32)
}

/// The cells of a column that were read before in its chunk. An instrument has few codes: most cells repeat one above, and
/// looking them up takes less than half of the time of reading them.
#[derive(Clone)]
struct RepeatCache {
    /// A cell with its end, and its value, at a place by its bytes.
    cells: Vec<(u128, f64)>,
    /// Bytes of the last cell that was read, its end included, a minus sign not.
    length: usize,
}

impl RepeatCache {
    const BITS: u32 = 9;

    fn new() -> RepeatCache {
        RepeatCache {
            cells: vec![(0, 0.0); 1 << RepeatCache::BITS],
            length: 0,
        }
    }

    /// The number at the beginning of `text` and the text behind the end of its cell.
    #[inline]
    fn number<'t>(&mut self, text: &'t [u8], end: End) -> Option<(f64, &'t [u8])> {
        let negative = usize::from(text.first() == Some(&b'-'));
        let length = self.length + negative;
        if self.length > 0
            && let Some((place, key)) = RepeatCache::place(text, length)
            && self.cells[place].0 == key
        {
            return Some((self.cells[place].1, &text[length..]));
        }
        let number = end.number(text)?;
        let length = text.len() - number.behind.len();
        self.length = 0;
        if let Some((place, key)) = RepeatCache::place(text, length) {
            self.cells[place] = (key, number.value);
            self.length = length - negative;
        }
        Some((number.value, number.behind))
    }

    /// The first `length` bytes as one number that is not zero, and its place; `None` for more bytes than such a number has.
    #[inline]
    fn place(text: &[u8], length: usize) -> Option<(usize, u128)> {
        let bytes: &[u8; 16] = text.first_chunk()?;
        let unused = 16usize.checked_sub(length)?;
        let key = u128::from_le_bytes(*bytes) << (8 * unused);
        // Multiplicative hashing: only the highest bits of the product depend on all of the key.
        let hash = ((key >> 64) as u64 ^ key as u64).wrapping_mul(0x9e37_79b9_7f4a_7c15);
        Some(((hash >> (64 - RepeatCache::BITS)) as usize, key))
    }
}

/// What ends a cell.
#[derive(Clone, Copy)]
enum End {
    Delimiter(u8),
    /// LF or CR LF.
    Line,
}

struct Number<'t> {
    value: f64,
    cell: &'t [u8],
    /// The text behind the end of the cell.
    behind: &'t [u8],
}

impl End {
    /// The text behind an end at the beginning of `text`.
    #[inline]
    fn strip(self, text: &[u8]) -> Option<&[u8]> {
        match (self, text) {
            (End::Line, [b'\n', behind @ ..] | [b'\r', b'\n', behind @ ..]) => Some(behind),
            (End::Delimiter(delimiter), [byte, behind @ ..]) if *byte == delimiter => Some(behind),
            _ => None,
        }
    }

    /// The cell at the beginning of `text` and the text behind its end, whatever the cell holds.
    fn cell(self, text: &[u8]) -> Option<(&[u8], &[u8])> {
        let stop = match self {
            End::Delimiter(delimiter) => delimiter,
            End::Line => b'\n',
        };
        let at = memchr(stop, text)?;
        let (cell, behind) = (&text[..at], &text[at + 1..]);
        let cell = match self {
            End::Delimiter(_) => cell,
            End::Line => cell.strip_suffix(b"\r").unwrap_or(cell),
        };
        Some((cell, behind))
    }

    /// The number at the beginning of `text`; `None` where there is none or the cell does not end behind it.
    #[inline]
    fn number(self, text: &[u8]) -> Option<Number<'_>> {
        // `inf`, `nan` and what stands for them are numbers to the parser, and missing values here.
        if let Ok((value, length)) = fast_float2::parse_partial::<f64, _>(text)
            && value.abs() < cell::INFINITY_MARK
            && length <= cell::LONGEST_NUMBER
            && let Some(behind) = self.strip(&text[length..])
        {
            let cell = &text[..length];
            return Some(Number {
                value,
                cell,
                behind,
            });
        }
        self.padded_number(text)
    }

    /// A number with blanks about it.
    #[cold]
    fn padded_number(self, text: &[u8]) -> Option<Number<'_>> {
        let (cell, behind) = self.cell(text)?;
        // On its own a carriage return would end the line.
        if memchr2(b'\r', b'\n', cell).is_some() {
            return None;
        }
        match cell::parse(cell, b'.') {
            Cell::Number(value) => Some(Number {
                value,
                cell,
                behind,
            }),
            _ => None,
        }
    }

    /// The text behind a cell that is not kept; `None` where it holds what the reader of lines has to judge.
    fn skip(self, text: &[u8], delimiter: u8) -> Option<&[u8]> {
        let (cell, behind) = self.cell(text)?;
        let other = match self {
            End::Delimiter(_) => b'\n',
            End::Line => delimiter,
        };
        let plain = memchr(other, cell).is_none() && memchr2(b'\r', 0, cell).is_none();
        plain.then_some(behind)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn plan(delimiter: u8, decimal: u8) -> RowPlan {
        RowPlan {
            cells: vec![Use::Time, Use::Value(0), Use::Value(1), Use::Skipped],
            values: 2,
            delimiter,
            decimal,
        }
    }

    /// Numbers of three rows in one dialect whose middle row is given, as written with comma and point.
    fn read(delimiter: u8, decimal: u8, middle: &str) -> Option<Chunk> {
        let text = format!("0.25,1.5,-2e-3,\n{middle}\n+0.75,.5,7,\n");
        let text = text
            .replace(',', ";")
            .replace('.', if decimal == b',' { "," } else { "." })
            .replace(';', &char::from(delimiter).to_string());
        Chunk::read(text.as_bytes(), &plan(delimiter, decimal))
    }

    #[test]
    fn a_regular_chunk_is_read_whole() {
        for (delimiter, decimal) in [(b',', b'.'), (b';', b','), (b'\t', b'.')] {
            for middle in ["0.5,1e2,3,", "0.5, 1e2 ,3, skipped", "0.5,1e2,3,\r"] {
                let chunk = read(delimiter, decimal, middle).expect("three rows");
                assert_eq!((chunk.rows, chunk.time_digits), (3, 2));
                let mut times = Vec::new();
                chunk.times.expect("times").unpack(&mut times);
                assert_eq!(times, [0.25, 0.5, 0.75]);
                assert_eq!(chunk.values[0], [1.5, 100.0, 0.5]);
                assert_eq!(chunk.values[1], [-2e-3, 3.0, 7.0]);
            }
        }
    }

    #[test]
    fn a_chunk_with_an_odd_cell_is_left_alone() {
        for middle in [
            "0.5,,3,",
            "0.5,nan,3,",
            "0.5,inf,3,",
            "0.5,x,3,",
            "0.5,1.5.2,3,",
            "0.5,9.9e37,3,",
            "0.5,1",
            "",
            "0.5,1,2,3,4,5",
            "0.5,1\r,3,",
            "0.5,1,3,a\rb",
            "0.5,1,3,\0",
        ] {
            assert!(read(b',', b'.', middle).is_none(), "{middle}");
        }
        assert!(read(b';', b',', "0:5,1,3,").is_none());
        let point = b"0,25;1.5;2;\n";
        assert!(Chunk::read(point, &plan(b';', b',')).is_none());
    }

    proptest! {
        #[test]
        fn the_same_double_to_the_last_bit_as_the_parser_of_one_cell(
            sign in "[+-]?",
            whole in "[0-9]{0,12}",
            part in "(\\.[0-9]{0,18})?",
            exponent in "([eE][+-]?[0-9]{1,3})?",
            end in prop::sample::select(vec!["\n", "\r\n"]),
        ) {
            let text = format!("{sign}{whole}{part}{exponent}");
            let line = format!("{text}{end}rest");
            let found = End::Line.number(line.as_bytes()).map(|n| (n.value.to_bits(), n.cell, n.behind));
            let plain = match cell::parse(text.as_bytes(), b'.') {
                Cell::Number(value) => Some((value.to_bits(), text.as_bytes(), "rest".as_bytes())),
                _ => None,
            };
            prop_assert_eq!(found, plain);
        }
    }
}
