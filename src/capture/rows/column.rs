//! One column of numbers as it is read.

use crate::capture::cell::{self, Cell};
use crate::capture::layout::Cells;
use std::collections::HashMap;

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
    /// How its cells are read.
    pub cells: Cells,
    pub values: Vec<f64>,
    pub missing: usize,
    pub overrange: Vec<(usize, bool)>,
    pub bad: Option<BadCells>,
}

impl RawColumn {
    pub fn new(column: usize, cells: Cells) -> RawColumn {
        RawColumn {
            column,
            cells,
            ..RawColumn::default()
        }
    }

    /// Keeps one cell.
    #[inline]
    pub fn push(&mut self, text: &[u8], decimal: u8, line: usize) {
        let parsed = match self.cells {
            Cells::Hexadecimal => cell::hexadecimal(text),
            cells => cell::parse(text, cells.mark(decimal)),
        };
        let value = match parsed {
            Cell::Number(value) => value,
            Cell::Quantity(value, _) if self.cells == Cells::Quantities => value,
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
            (Cell::Text | Cell::Quantity(..), Some(bad)) => bad.count += 1,
            (Cell::Text | Cell::Quantity(..), None) => {
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

    /// Keeps only the given rows, in the order given.
    pub fn keep(&mut self, rows: &[usize]) {
        self.values = rows.iter().map(|&row| self.values[row]).collect();
        self.missing = self.values.iter().filter(|v| v.is_nan()).count();
        if self.overrange.is_empty() {
            return;
        }
        let marks: HashMap<usize, bool> = self.overrange.drain(..).collect();
        let places = rows.iter().enumerate();
        self.overrange = places
            .filter_map(|(at, row)| Some((at, *marks.get(row)?)))
            .collect();
    }
}
