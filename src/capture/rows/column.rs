//! One column of numbers as it is read.

use crate::capture::cell::{self, Cell};

/// Text in a column of numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct BadCells {
    pub count: usize,
    /// 1-based line and text of the first.
    pub line: usize,
    pub text: String,
}

/// One column as read, in the unit of the file.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RawColumn {
    /// 0-based column in the file.
    pub column: usize,
    pub values: Vec<f64>,
    pub missing: usize,
    pub overrange: Vec<(usize, bool)>,
    pub bad: Option<BadCells>,
}

impl RawColumn {
    pub fn new(column: usize) -> RawColumn {
        RawColumn {
            column,
            ..RawColumn::default()
        }
    }

    /// Keeps one cell.
    #[inline]
    pub fn push(&mut self, text: &[u8], decimal: u8, line: usize) {
        let value = match cell::parse(text, decimal) {
            Cell::Number(value) => value,
            other => {
                self.push_missing(other, text, line);
                f64::NAN
            }
        };
        self.values.push(value);
    }

    fn push_missing(&mut self, cell: Cell, text: &[u8], line: usize) {
        self.missing += 1;
        match (cell, &mut self.bad) {
            (Cell::Overrange(positive), _) => self.overrange.push((self.values.len(), positive)),
            (Cell::Text, Some(bad)) => bad.count += 1,
            (Cell::Text, None) => {
                let start = &text[..text.len().min(40)];
                self.bad = Some(BadCells {
                    count: 1,
                    line,
                    text: String::from_utf8_lossy(start).into_owned(),
                });
            }
            _ => {}
        }
    }

    /// Takes the last cell, that of `row`, away.
    pub fn pop(&mut self, row: usize) {
        if self.values.pop().is_some_and(f64::is_nan) {
            self.missing -= 1;
        }
        self.overrange.retain(|&(at, _)| at < row);
    }

    /// Keeps only the given rows, in order.
    pub fn keep(&mut self, rows: &[usize]) {
        let kept = |&(row, positive): &(usize, bool)| {
            let at = rows.binary_search(&row).ok()?;
            Some((at, positive))
        };
        self.values = rows.iter().map(|&row| self.values[row]).collect();
        self.missing = self.values.iter().filter(|v| v.is_nan()).count();
        self.overrange = self.overrange.iter().filter_map(kept).collect();
    }
}
