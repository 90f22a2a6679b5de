//! What the rows in the head of a file hold, column by column.

use super::dialect::Dialect;
use crate::capture::cell::{self, Cell};
use crate::capture::record::PreambleFact;
use crate::capture::source;
use encoding_rs::Encoding;
use std::borrow::Cow;

/// A row of the head: its line and its cells.
pub(super) type HeadRow<'a> = (usize, Vec<Cow<'a, [u8]>>);

/// One column over the rows of the head.
#[derive(Default)]
pub(super) struct ColumnSurvey {
    pub numbers: usize,
    pub texts: usize,
    /// Cells that are marked as missing or beyond the range.
    pub marks: usize,
    filled_rows: Vec<usize>,
    text_rows: Vec<usize>,
    pub values: Vec<f64>,
    /// Digits after the decimal mark, as far as the cells agree.
    decimals: Option<Option<usize>>,
}

impl ColumnSurvey {
    fn add(&mut self, row: usize, text: &[u8], decimal: u8) {
        match cell::parse(text, decimal) {
            Cell::Number(value) => {
                self.numbers += 1;
                self.values.push(value);
                let decimals = cell::decimals(text, decimal);
                match self.decimals {
                    None => self.decimals = Some(decimals),
                    Some(before) if before != decimals => self.decimals = Some(None),
                    Some(_) => {}
                }
            }
            Cell::Text => {
                self.texts += 1;
                self.text_rows.push(row);
            }
            Cell::Missing | Cell::Overrange(_) => self.marks += 1,
            Cell::Blank => return,
        }
        self.filled_rows.push(row);
    }

    /// Digits after the decimal mark, where all cells agree.
    pub fn decimals(&self) -> Option<usize> {
        self.decimals.flatten()
    }
}

/// The rows of the head, column by column.
pub(super) struct Survey {
    pub columns: Vec<ColumnSurvey>,
    /// Fewest and most cells of a row.
    pub cells: (usize, usize),
    /// Columns of a preamble that stands beside the numbers: keys, then values.
    pub beside: Vec<usize>,
}

impl Survey {
    pub fn of(rows: &[HeadRow], dialect: Dialect) -> Survey {
        let widths = || rows.iter().map(|(_, cells)| cells.len());
        let (fewest, width) = (widths().min().unwrap_or(0), widths().max().unwrap_or(0));
        let mut columns: Vec<ColumnSurvey> = Vec::new();
        columns.resize_with(width, ColumnSurvey::default);
        for (row, (_, cells)) in rows.iter().enumerate() {
            for (column, text) in columns.iter_mut().zip(cells) {
                column.add(row, text, dialect.decimal);
            }
        }
        Survey {
            beside: beside_columns(&columns, rows.len()),
            columns,
            cells: (fewest, width),
        }
    }

    /// Whether each column holds numbers of the table.
    pub fn numeric(&self) -> Vec<bool> {
        let columns = self.columns.iter().enumerate();
        columns
            .map(|(c, s)| s.numbers > 0 && s.numbers >= s.texts && !self.beside.contains(&c))
            .collect()
    }

    /// Lines of the preamble beside the numbers.
    pub fn lines_beside(&self) -> Option<usize> {
        let keys = self.beside.first()?;
        Some(self.columns[*keys].text_rows.len())
    }

    /// What the preamble beside the numbers says.
    pub fn facts_beside(
        &self,
        rows: &[HeadRow],
        named: Option<&'static Encoding>,
    ) -> Vec<PreambleFact> {
        let Some((&keys, values)) = self.beside.split_first() else {
            return Vec::new();
        };
        let text = |cells: &[Cow<[u8]>], column: usize| {
            let cell = cells.get(column);
            cell.map_or_else(String::new, |c| source::text(cell::trim(c), named))
        };
        let facts = rows.iter().map(|(line, cells)| PreambleFact {
            line: *line,
            key: text(cells, keys),
            values: values
                .iter()
                .map(|&c| text(cells, c))
                .filter(|v| !v.is_empty())
                .collect(),
        });
        facts.filter(|fact| !fact.key.is_empty()).collect()
    }
}

/// Keys as text in the first rows only, values in the columns to their right in no other rows.
fn beside_columns(columns: &[ColumnSurvey], rows: usize) -> Vec<usize> {
    let is_keys = |s: &ColumnSurvey| {
        let count = s.text_rows.len();
        count >= 2
            && count < rows
            && s.numbers == 0
            && s.text_rows.iter().enumerate().all(|(k, &row)| k == row)
    };
    let Some(keys) = columns.iter().position(is_keys) else {
        return Vec::new();
    };
    let last = columns[keys].text_rows.len();
    let values = columns[keys + 1..]
        .iter()
        .take_while(|s| !s.filled_rows.is_empty() && s.filled_rows.iter().all(|&row| row < last))
        .count();
    (keys..=keys + values).collect()
}
