//! The table as read: columns of numbers, and what did not fit, counted with its place.

use super::column::RawColumn;
use crate::capture::layout::{Dialect, Layout, Role};
use crate::capture::time::TimeColumn;

/// Lines of rows: row k stands at `line - row` of the last run at or before it. Runs change only at skipped lines.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct LineMap(Vec<(usize, usize)>);

impl LineMap {
    #[inline]
    pub fn note(&mut self, row: usize, line: usize) {
        if self.0.last().is_none_or(|&(r, l)| l + (row - r) != line) {
            self.0.push((row, line));
        }
    }

    /// 1-based line of a row.
    pub fn line(&self, row: usize) -> usize {
        let at = self.0.partition_point(|&(r, _)| r <= row);
        self.0
            .get(at.wrapping_sub(1))
            .map_or(0, |&(r, l)| l + (row - r))
    }
}

/// Rows that do not fit.
#[derive(Clone, Debug, PartialEq)]
pub struct BadRows {
    pub count: usize,
    /// Line, number of cells and text of the first.
    pub line: usize,
    pub cells: usize,
    pub text: String,
    /// None of them holds a number, as a header that is repeated.
    pub text_only: bool,
}

/// Where the layout changes in mid-file.
#[derive(Clone, Debug, PartialEq)]
pub struct LayoutChange {
    pub line: usize,
    pub dialect: Dialect,
    /// Rows in the other layout, to the end of the file.
    pub rows: usize,
}

/// The last row, cut short.
#[derive(Clone, Debug, PartialEq)]
pub struct Truncated {
    pub line: usize,
    /// Cells that it has.
    pub column: usize,
    pub text: String,
}

/// Where a further column of time differs from the first.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct TimeDifference {
    /// 0-based column.
    pub column: usize,
    pub line: usize,
    pub by: f64,
    /// Time of the first column there.
    pub at: f64,
    /// Difference and time of the first column in the last row that has both.
    pub last: (f64, f64),
}

impl TimeDifference {
    /// How much faster the other column runs, as a share: 0 where it is only late.
    pub fn pace(&self) -> f64 {
        let pace = (self.last.0 - self.by) / (self.last.1 - self.at);
        if pace.is_finite() { pace } else { 0.0 }
    }
}

/// The table as read, before time is judged.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Table {
    pub rows: usize,
    pub lines: LineMap,
    pub time: Option<TimeColumn>,
    pub values: Vec<RawColumn>,
    /// The first row in which times differ.
    pub time_differs: Option<TimeDifference>,
    pub bad_rows: Option<BadRows>,
    pub change: Option<LayoutChange>,
    pub truncated: Option<Truncated>,
    /// Zero bytes behind the text.
    pub padding: u64,
    /// Lines of text under the table: the first, and how many.
    pub footer: Option<(usize, usize)>,
}

impl Table {
    /// A table without rows, its columns as the layout has them.
    pub fn new(layout: &Layout) -> Table {
        let columns = layout.columns.iter().enumerate();
        let values = columns.filter(|(_, c)| c.role == Role::Value);
        Table {
            time: layout
                .time_column()
                .map(|at| TimeColumn::new(at, layout.columns[at].cells)),
            values: values
                .map(|(at, column)| RawColumn::new(at, column.cells))
                .collect(),
            ..Table::default()
        }
    }

    /// Numbers kept of each row.
    pub fn numbers_per_row(&self) -> usize {
        self.values.len() + usize::from(self.time.is_some())
    }

    /// Keeps only the given rows, in order.
    pub fn keep(&mut self, rows: &[usize]) {
        let mut lines = LineMap::default();
        for (at, &row) in rows.iter().enumerate() {
            lines.note(at, self.lines.line(row));
        }
        for column in &mut self.values {
            column.keep(rows);
        }
        self.rows = rows.len();
        self.lines = lines;
    }
}
