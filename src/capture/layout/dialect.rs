//! How the cells of a file are delimited and its numbers written, and runs of rows of numbers.

use crate::capture::cell::{self, Cell, clock};
use std::borrow::Cow;

/// Field delimiter and decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dialect {
    /// A space stands for runs of spaces.
    pub delimiter: u8,
    pub decimal: u8,
}

/// In the order in which ties are settled.
pub const DIALECTS: [Dialect; 10] = [
    Dialect::new(b',', b'.'),
    Dialect::new(b';', b'.'),
    Dialect::new(b'\t', b'.'),
    Dialect::new(b';', b','),
    Dialect::new(b'\t', b','),
    Dialect::new(b' ', b'.'),
    Dialect::new(b'|', b'.'),
    Dialect::new(b'|', b','),
    Dialect::new(b' ', b','),
    // Only where the cells stand in quotation marks, or a blank follows the comma that ends a cell.
    Dialect::new(b',', b','),
];

impl Dialect {
    pub const fn new(delimiter: u8, decimal: u8) -> Dialect {
        Dialect { delimiter, decimal }
    }

    pub fn delimiter_name(self) -> &'static str {
        match self.delimiter {
            b'\t' => "tab",
            b';' => "';'",
            b',' => "','",
            b' ' => "spaces",
            b'|' => "'|'",
            _ => "as given",
        }
    }

    /// Cells of one line; quotation marks are honoured.
    pub fn split<'a>(self, line: &'a [u8]) -> Vec<Cow<'a, [u8]>> {
        if !line.contains(&b'"') {
            let cells = line
                .split(|&b| b == self.delimiter)
                .filter(|cell| self.delimiter != b' ' || !cell.is_empty());
            return match self.comma_is_both() {
                false => cells.map(Cow::Borrowed).collect(),
                true => joined_at_decimals(cells)
                    .into_iter()
                    .map(Cow::Owned)
                    .collect(),
            };
        }
        let mut cells = self.split_quoted(line);
        if let [only] = cells.as_slice()
            && self.is_whole_line(only)
        {
            let inside = self.split(only).into_iter();
            cells = inside.map(|cell| cell.into_owned()).collect();
        }
        cells.into_iter().map(Cow::Owned).collect()
    }

    /// The comma is delimiter and decimal mark.
    pub fn comma_is_both(self) -> bool {
        self.delimiter == self.decimal
    }

    /// True for the text of a cell in quotation marks that is a whole line with its delimiters, and no number.
    pub fn is_whole_line(self, cell: &[u8]) -> bool {
        let is_number = |decimal| !matches!(cell::parse(cell, decimal), Cell::Text);
        cell.contains(&self.delimiter) && !is_number(b'.') && !is_number(b',')
    }

    fn split_quoted(self, line: &[u8]) -> Vec<Vec<u8>> {
        let mut reader = csv::ReaderBuilder::new()
            .has_headers(false)
            .flexible(true)
            .delimiter(self.delimiter)
            .from_reader(line);
        let mut record = csv::ByteRecord::new();
        // Reading from memory cannot fail; a line that gives no record has no cells.
        match reader.read_byte_record(&mut record) {
            Ok(true) => record
                .iter()
                .filter(|cell| self.delimiter != b' ' || !cell.is_empty())
                .map(<[u8]>::to_vec)
                .collect(),
            _ => Vec::new(),
        }
    }
}

/// Cells split at every comma, put together again where a comma stood between the digits of one number.
pub fn joined_at_decimals<'a>(cells: impl Iterator<Item = &'a [u8]>) -> Vec<Vec<u8>> {
    let is_whole = |cell: &[u8]| {
        let digits = cell.trim_ascii_start();
        let digits = digits
            .strip_prefix(b"-")
            .or(digits.strip_prefix(b"+"))
            .unwrap_or(digits);
        !digits.is_empty() && digits.iter().all(u8::is_ascii_digit)
    };
    let is_part = |cell: &[u8]| {
        cell.first().is_some_and(u8::is_ascii_digit)
            && cell::number(cell.trim_ascii_end(), b'.').is_some()
    };
    let mut joined: Vec<Vec<u8>> = Vec::new();
    for cell in cells {
        match joined.last_mut() {
            Some(last) if is_whole(last) && is_part(cell) => {
                last.push(b',');
                last.extend_from_slice(cell);
            }
            _ => joined.push(cell.to_vec()),
        }
    }
    joined
}

/// What kind of cell a column holds in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CellKind {
    /// Clock times are numbers too.
    Number,
    /// Blank or a mark for a missing value.
    Nothing,
    Text,
}

pub fn kind(cell: &[u8], decimal: u8) -> CellKind {
    match cell::parse(cell, decimal) {
        Cell::Number(_) | Cell::Quantity(..) => CellKind::Number,
        Cell::Text if clock::parse(cell::trim(cell)).is_some() => CellKind::Number,
        Cell::Text => CellKind::Text,
        Cell::Blank | Cell::Missing | Cell::Overrange(_) => CellKind::Nothing,
    }
}

/// The dialect under which one line, that does not fit where it stands, would be a row with `numbers` numbers.
pub fn dialect_of_row(line: &[u8], numbers: usize, not: Dialect) -> Option<Dialect> {
    DIALECTS.into_iter().find(|&dialect| {
        dialect != not
            && numbers > 1
            && dialect
                .split(line)
                .iter()
                .filter(|c| kind(c, dialect.decimal) == CellKind::Number)
                .count()
                == numbers
            && dialect
                .split(line)
                .iter()
                .all(|c| kind(c, dialect.decimal) != CellKind::Text)
    })
}

/// A run of rows of numbers in the head.
#[derive(Clone, Debug)]
pub struct NumberBlock {
    /// Index of the first row among the lines of the head.
    pub first: usize,
    /// Index of the last row.
    pub last: usize,
    pub rows: usize,
    /// Merged over the rows.
    pub kinds: Vec<CellKind>,
    /// Numbers in every row.
    pub solid: Vec<bool>,
    pub leading_zeros: usize,
}

impl NumberBlock {
    pub fn new(at: usize, kinds: Vec<CellKind>) -> NumberBlock {
        NumberBlock {
            first: at,
            last: at,
            rows: 0,
            solid: vec![true; kinds.len()],
            kinds,
            leading_zeros: 0,
        }
    }

    /// True when a row with these kinds can belong to the block.
    pub fn takes(&self, kinds: &[CellKind]) -> bool {
        let shared = self.kinds.len().min(kinds.len());
        let clash = self.kinds[..shared]
            .iter()
            .zip(&kinds[..shared])
            .any(|(a, b)| {
                matches!(
                    (a, b),
                    (CellKind::Number, CellKind::Text) | (CellKind::Text, CellKind::Number)
                )
            });
        // Rows may differ in length only by cells that hold no number.
        let rest = if self.kinds.len() > kinds.len() {
            &self.kinds[shared..]
        } else {
            &kinds[shared..]
        };
        !clash && !rest.contains(&CellKind::Number)
    }

    pub fn add(&mut self, at: usize, kinds: &[CellKind]) {
        if kinds.len() > self.kinds.len() {
            self.kinds.resize(kinds.len(), CellKind::Nothing);
            self.solid.resize(kinds.len(), false);
        }
        for (column, merged) in self.kinds.iter_mut().enumerate() {
            let kind = kinds.get(column).copied().unwrap_or(CellKind::Nothing);
            self.solid[column] &= kind == CellKind::Number;
            if kind != CellKind::Nothing {
                *merged = kind;
            }
        }
        self.rows += 1;
        self.last = at;
    }

    pub fn score(&self) -> f64 {
        let count = |wanted: CellKind| self.kinds.iter().filter(|&&k| k == wanted).count() as f64;
        let score = self.rows as f64 * (count(CellKind::Number) - 0.6 * count(CellKind::Text));
        if self.leading_zeros * 10 > self.rows {
            // `0,05` cut at its comma leaves `05`; no one prints numbers so.
            score * 0.4
        } else {
            score
        }
    }
}
