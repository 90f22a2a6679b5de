//! The end of the table: a row cut short, text under the table, or rows that do not fit.

use super::table::{BadRows, Table, Truncated};
use crate::capture::cell::{self, Cell};
use crate::capture::layout::Layout;

/// A row that did not fit.
pub(super) struct Misfit {
    pub line: usize,
    pub cells: usize,
    pub text: Vec<u8>,
    /// No cell is a number.
    pub text_only: bool,
}

impl Misfit {
    /// True where the row begins like one of numbers.
    fn starts_as_number(&self, layout: &Layout) -> bool {
        let decimal = layout.dialect.decimal;
        let cells = layout.dialect.split(&self.text);
        let first = cells.first();
        first.is_some_and(|c| !matches!(cell::parse(c, decimal), Cell::Text))
    }

    fn text(&self) -> String {
        String::from_utf8_lossy(&self.text).into_owned()
    }
}

/// Counts a row that is left out.
pub(super) fn note_bad(table: &mut Table, row: Misfit) {
    match &mut table.bad_rows {
        Some(bad) => {
            bad.count += 1;
            bad.text_only &= row.text_only;
        }
        None => {
            table.bad_rows = Some(BadRows {
                count: 1,
                line: row.line,
                cells: row.cells,
                text: row.text(),
                text_only: row.text_only,
            });
        }
    }
}

/// Judges the rows behind the last that fits, and that row itself where `unended` says that its line has no end.
pub(super) fn judge_last_rows(
    table: &mut Table,
    misfits: Vec<Misfit>,
    unended: Option<&csv::ByteRecord>,
    layout: &Layout,
) {
    let bare_text = !misfits.iter().any(|m| m.starts_as_number(layout));
    match misfits.as_slice() {
        [row] if !bare_text && row.cells <= layout.cells.1 => {
            table.truncated = Some(Truncated {
                line: row.line,
                column: row.cells,
                text: row.text(),
            });
        }
        [row] => table.footer = Some((row.line, 1)),
        [first, ..] if table.bad_rows.is_none() && bare_text => {
            table.footer = Some((first.line, misfits.len()));
        }
        _ => misfits.into_iter().for_each(|row| note_bad(table, row)),
    }
    if let Some(last) = unended
        && table.truncated.is_none()
        && table.footer.is_none()
        && table.rows > 1
    {
        drop_cut_row(table, layout, last);
    }
}

/// A last row without line end may have lost digits: seen by a last cell printed shorter than all above it.
fn drop_cut_row(table: &mut Table, layout: &Layout, last: &csv::ByteRecord) {
    let row = table.rows - 1;
    let line = table.lines.line(row);
    let Some(last_column) = last.len().checked_sub(1) else {
        return;
    };
    let text = last.get(last_column).unwrap_or_default();
    let expected = layout.columns.get(last_column).and_then(|c| c.decimals);
    let (Some(expected), Some(found)) = (
        expected.filter(|&d| d > 0),
        cell::decimals(text, layout.dialect.decimal),
    ) else {
        return;
    };
    if found >= expected {
        return;
    }
    if let Some(time) = &mut table.time {
        time.pop();
    }
    for column in &mut table.values {
        column.pop(row);
    }
    table.rows = row;
    table.truncated = Some(Truncated {
        line,
        column: last_column + 1,
        text: String::from_utf8_lossy(text).into_owned(),
    });
}
