//! Warnings about the rows of the table and what stands about it.

use super::table::{Table, TimeDifference};
use crate::capture::layout::Layout;
use crate::capture::warnings::{WarningKind, Warnings, brief};

/// Rows and further time columns that did not fit.
pub fn warn_of_table(table: &Table, layout: &Layout, warnings: &mut Warnings) {
    let cells = layout.cells.1;
    if let Some(cut) = &table.truncated {
        let before = cut.text.chars().count().saturating_sub(40);
        let text = format!(
            "the last row is incomplete: it ends at cell {} of {cells} with \"{}\". The copy stopped there; the row is left out and the {} rows before it are used",
            cut.column,
            cut.text.chars().skip(before).collect::<String>(),
            table.rows
        );
        warnings.push(WarningKind::ROW_TRUNCATED, cut.line, cut.column, text);
    }
    if let Some(change) = &table.change {
        let text = format!(
            "the layout changes here: above, the field delimiter is {} with '{}' as decimal mark; from here on {} with '{}'. The {} rows above are used, the {} below are not. Export the record again, or bring the file to one layout",
            layout.dialect.delimiter_name(),
            layout.dialect.decimal as char,
            change.dialect.delimiter_name(),
            change.dialect.decimal as char,
            table.rows,
            change.rows
        );
        warnings.push(WarningKind::LAYOUT_CHANGE, change.line, None, text);
    }
    if let Some(bad) = &table.bad_rows {
        let kind = match bad.text_only {
            true => WarningKind::TEXT_ROWS,
            false => WarningKind::BAD_ROWS,
        };
        let text = format!(
            "{} rows do not fit the table and are left out: the first ({}) reads \"{}\". Check the lines, or export again",
            bad.count,
            bad.unfit(layout),
            bad.text.chars().take(60).collect::<String>()
        );
        warnings.push(kind, bad.line, None, text);
    }
    if let Some((line, lines)) = table.footer {
        let text = format!("{lines} lines of text under the table are left out");
        warnings.push(WarningKind::FOOTER, line, None, text);
    }
    if let Some(line) = layout.header_wider {
        let text = format!(
            "this line has more names than the rows have cells ({cells}), so no name is used: a name may contain a delimiter. Correct the line, or give units with --unit 2=V and the like"
        );
        warnings.push(WarningKind::HEADER_WIDER, line, None, text);
    }
    warn_of_unread(layout, warnings);
    if table.padding > 0 {
        let text = format!(
            "{} zero bytes behind the text are left out, as a copy leaves them that did not end in order. Check that the last rows are there",
            table.padding
        );
        warnings.push(WarningKind::PADDING, None, None, text);
    }
    if let Some(differs) = table.time_differs {
        let TimeDifference {
            column, line, by, ..
        } = differs;
        // Far more than a clock drifts.
        if differs.pace().abs() > 0.01 {
            let text = format!(
                "the time in column {} runs {:.3} times as fast as that in the first time column, which is used for all channels: those behind column {0} are at wrong times. Export all channels at one rate, or each into a file of its own (file = [\"one.csv\", \"other.csv\"] in a sheet joins them by their times)",
                column + 1,
                1.0 + differs.pace()
            );
            warnings.push(WarningKind::TIME_PACES_DIFFER, line, column + 1, text);
            return;
        }
        let text = format!(
            "the time in column {} differs from the first time column by {} here; the first is used for all channels",
            column + 1,
            brief(by)
        );
        warnings.push(WarningKind::TIME_COLUMNS_DIFFER, line, column + 1, text);
    }
}

/// Columns of figures that no decimal mark makes sure numbers of.
fn warn_of_unread(layout: &Layout, warnings: &mut Warnings) {
    let columns = layout.columns.iter().enumerate();
    for (at, cell) in columns.filter_map(|(at, c)| Some((at, c.unread.as_ref()?))) {
        let text = format!(
            "column {} is left out: its figures (such as \"{cell}\") are no numbers with '{}' as decimal mark. Export all columns with one decimal mark, or pass --decimal",
            at + 1,
            layout.dialect.decimal as char
        );
        warnings.push(WarningKind::NOT_A_NUMBER, layout.first_line, at + 1, text);
    }
}
