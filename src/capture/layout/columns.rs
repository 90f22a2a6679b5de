//! What the columns of a file are, and where its table begins.

use super::dialect::Dialect;
use crate::capture::record::PreambleFact;
use crate::capture::record::error::ReadError;
use crate::capture::wording::{LayoutRule, ReadErrorKind};
use std::path::Path;

/// Codes that a column holds in place of numbers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Codes {
    Hexadecimal,
    /// Bits written out, such as `0010`.
    Bits,
}

/// Use of a column.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    Time,
    /// A second time column beside another channel.
    ExtraTime,
    /// Counts the rows.
    Index,
    Value,
    /// Text, or nothing at all.
    Skip,
}

/// How the cells of a column are read.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Cells {
    #[default]
    Numbers,
    /// Numbers with a unit or prefix behind them; their values come in SI.
    Quantities,
    /// Clock times, with or without a date.
    Clock,
    /// Hexadecimal codes, read as whole numbers.
    Hexadecimal,
    /// Numbers with another decimal mark than those of the other columns.
    OtherMark,
}

impl Cells {
    /// The decimal mark of a column in a table with this one.
    pub fn mark(self, decimal: u8) -> u8 {
        match self {
            Cells::OtherMark => other_mark(decimal),
            _ => decimal,
        }
    }
}

/// A comma for a point, a point for a comma.
pub fn other_mark(decimal: u8) -> u8 {
    if decimal == b'.' { b',' } else { b'.' }
}

#[derive(Clone, Debug)]
pub struct Column {
    pub role: Role,
    pub cells: Cells,
    pub name: Option<String>,
    pub unit_text: Option<String>,
    /// Digits after the decimal mark, where all rows of the head agree.
    pub decimals: Option<usize>,
    /// Numbers stand there with an exponent.
    pub exponents: bool,
    /// Codes that it holds in place of numbers.
    pub codes: Option<Codes>,
    /// No row of the head holds a number here.
    pub empty: bool,
    /// The first of its cells, where all are figures that can be read in more than one way; it is left out.
    pub unread: Option<String>,
}

/// The layout of a file, ready for the rows to be read.
#[derive(Clone, Debug)]
pub struct Layout {
    pub dialect: Dialect,
    /// Quotation marks stand in the rows.
    pub quoted: bool,
    /// Each row stands in one pair of quotation marks.
    pub whole_lines_quoted: bool,
    pub first_line: usize,
    /// Byte in the head at which the first row starts.
    pub first_offset: usize,
    pub columns: Vec<Column>,
    /// Fewest and most cells of a row.
    pub cells: (usize, usize),
    pub facts: Vec<PreambleFact>,
    /// Why the table cannot be used.
    pub refusal: Option<ReadErrorKind>,
    /// 0-based columns that hold the unit of the column before them, and that unit.
    pub unit_columns: Vec<(usize, String)>,
    /// Line of names that has more of them than the rows have cells; they are not used.
    pub header_wider: Option<usize>,
    /// What was recognised.
    pub why: Vec<LayoutRule>,
}

impl Layout {
    /// 0-based column of time, else of the count of rows.
    pub fn time_column(&self) -> Option<usize> {
        let of = |role| self.columns.iter().position(|c| c.role == role);
        of(Role::Time).or_else(|| of(Role::Index))
    }
}

/// A table wider than the limit.
pub fn too_many_columns(path: &Path, line: usize, found: usize, limit: usize) -> ReadError {
    ReadError::new(path, line, ReadErrorKind::Columns { found, limit })
}
