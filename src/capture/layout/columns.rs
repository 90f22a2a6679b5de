//! What the columns of a file are, and where its table begins.

use super::dialect::Dialect;
use crate::capture::record::PreambleFact;

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

#[derive(Clone, Debug)]
pub struct Column {
    pub role: Role,
    pub name: Option<String>,
    pub unit_text: Option<String>,
    /// Digits after the decimal mark, where all rows of the head agree.
    pub decimals: Option<usize>,
    /// No row of the head holds a number here.
    pub empty: bool,
}

/// The layout of a file, ready for the rows to be read.
#[derive(Clone, Debug)]
pub struct Layout {
    pub dialect: Dialect,
    /// Quotation marks stand in the rows.
    pub quoted: bool,
    pub first_line: usize,
    /// Byte in the head at which the first row starts.
    pub first_offset: usize,
    pub columns: Vec<Column>,
    /// Fewest and most cells of a row.
    pub cells: (usize, usize),
    pub facts: Vec<PreambleFact>,
    /// One sentence a rule.
    pub why: Vec<String>,
}

impl Layout {
    /// 0-based column of time, else of the count of rows.
    pub fn time_column(&self) -> Option<usize> {
        let of = |role| self.columns.iter().position(|c| c.role == role);
        of(Role::Time).or_else(|| of(Role::Index))
    }
}
