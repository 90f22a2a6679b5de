//! How the cells of a file are delimited and its numbers written.

use crate::capture::cell::{self, Cell};
use std::borrow::Cow;

/// Field delimiter and decimal mark.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Dialect {
    /// A space stands for runs of spaces.
    pub delimiter: u8,
    pub decimal: u8,
}

/// In the order in which ties are settled.
pub const DIALECTS: [Dialect; 8] = [
    Dialect::new(b',', b'.'),
    Dialect::new(b';', b'.'),
    Dialect::new(b'\t', b'.'),
    Dialect::new(b';', b','),
    Dialect::new(b'\t', b','),
    Dialect::new(b' ', b'.'),
    Dialect::new(b' ', b','),
    // Only where the cells stand in quotation marks.
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
            _ => "as given",
        }
    }

    /// Cells of one line; quotation marks are honoured.
    pub fn split<'a>(self, line: &'a [u8]) -> Vec<Cow<'a, [u8]>> {
        if line.contains(&b'"') {
            let mut reader = csv::ReaderBuilder::new()
                .has_headers(false)
                .flexible(true)
                .delimiter(self.delimiter)
                .from_reader(line);
            let mut record = csv::ByteRecord::new();
            // Reading from memory cannot fail; a line that gives no record has no cells.
            return match reader.read_byte_record(&mut record) {
                Ok(true) => record
                    .iter()
                    .filter(|cell| self.delimiter != b' ' || !cell.is_empty())
                    .map(|cell| Cow::Owned(cell.to_vec()))
                    .collect(),
                _ => Vec::new(),
            };
        }
        line.split(|&b| b == self.delimiter)
            .filter(|cell| self.delimiter != b' ' || !cell.is_empty())
            .map(Cow::Borrowed)
            .collect()
    }
}

/// What kind of cell a column holds in a row.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum CellKind {
    Number,
    /// Blank or a mark for a missing value.
    Nothing,
    Text,
}

pub fn kind(cell: &[u8], decimal: u8) -> CellKind {
    match cell::parse(cell, decimal) {
        Cell::Number(_) => CellKind::Number,
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
