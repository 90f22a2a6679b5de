//! What the columns of a file are, and where its table begins.

use super::dialect::Dialect;
use super::survey::Codes;
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
}

/// An x axis that is not time.
#[derive(Clone, Debug, PartialEq)]
pub struct OtherAxis {
    /// 1-based column of the axis.
    pub column: usize,
    /// What shows it, as a clause.
    pub why: String,
}

/// Rows of several channels, one below the other.
#[derive(Clone, Debug, PartialEq)]
pub struct MixedChannels {
    /// 0-based column that names the channel of each row.
    pub column: usize,
    pub channels: Vec<String>,
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
    /// The rows do not stand against time.
    pub other_axis: Option<OtherAxis>,
    /// 0-based columns that hold the unit of the column before them, and that unit.
    pub unit_columns: Vec<(usize, String)>,
    /// A column names the channel that its row belongs to.
    pub mixed_channels: Option<MixedChannels>,
    /// Line of names that has more of them than the rows have cells; they are not used.
    pub header_wider: Option<usize>,
    /// 0-based column of units that change from row to row.
    pub units_vary: Option<usize>,
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
