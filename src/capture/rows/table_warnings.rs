//! Warnings about the rows of the table and what is above and below it.

use super::table::{Table, TimeDifference};
use crate::capture::layout::{Dialect, Layout};
use crate::capture::record::warnings::Warnings;
use crate::capture::wording::WarningKind;

/// Rows and further time columns that did not fit.
pub fn warn_of_table(table: &Table, layout: &Layout, warnings: &mut Warnings) {
    let (expected, rows) = (layout.cells.1, table.rows);
    if let Some(cut) = &table.truncated {
        let before = cut.text.chars().count().saturating_sub(40);
        let kind = WarningKind::RowTruncated {
            cells: cut.column,
            expected,
            text: cut.text.chars().skip(before).collect(),
            rows,
        };
        warnings.push(cut.line, cut.column, kind);
    }
    if let Some(change) = &table.change {
        let marks = |dialect: Dialect| (dialect.delimiter_name(), dialect.decimal as char);
        let kind = WarningKind::LayoutChange {
            above: marks(layout.dialect),
            below: marks(change.dialect),
            rows,
            rows_below: change.rows,
        };
        warnings.push(change.line, None, kind);
    }
    if let Some(bad) = &table.bad_rows {
        let (rows, cells) = (bad.count, bad.cells);
        let text = bad.text.chars().take(60).collect();
        let kind = match bad.text_only {
            true => WarningKind::TextRows {
                rows,
                cells,
                expected,
                text,
            },
            false => WarningKind::BadRows {
                rows,
                cells,
                expected,
                text,
            },
        };
        warnings.push(bad.line, None, kind);
    }
    if let Some((line, lines)) = table.footer {
        warnings.push(line, None, WarningKind::Footer { lines });
    }
    if let Some(line) = layout.header_wider {
        let cells = expected;
        warnings.push(line, None, WarningKind::HeaderWider { cells });
    }
    warn_of_unread(layout, warnings);
    if table.padding > 0 {
        let bytes = table.padding;
        warnings.push(None, None, WarningKind::Padding { bytes });
    }
    if let Some(differs) = table.time_differs {
        let TimeDifference { line, by: by_s, .. } = differs;
        let column = differs.column + 1;
        let ratio = 1.0 + differs.pace();
        // Far more than a clock drifts.
        let kind = match differs.pace().abs() > 0.01 {
            true => WarningKind::TimePacesDiffer { column, ratio },
            false => WarningKind::TimeColumnsDiffer { column, by_s },
        };
        warnings.push(line, column, kind);
    }
}

/// Columns of figures that no decimal mark makes sure numbers of.
fn warn_of_unread(layout: &Layout, warnings: &mut Warnings) {
    let columns = (1..).zip(&layout.columns);
    for (column, text) in columns.filter_map(|(at, c)| Some((at, c.unread.clone()?))) {
        let decimal = layout.dialect.decimal as char;
        let kind = WarningKind::ColumnUnread {
            column,
            text,
            decimal,
        };
        warnings.push(layout.first_line, column, kind);
    }
}
