//! Warnings about the rows and columns of the table.

use super::kind::WarningKind;
use super::numbers::brief;
use super::warning::{Place, Warning};
use crate::capture::error::unfit;
use crate::capture::layout::Layout;
use crate::capture::record::Channel;
use crate::capture::rows::{BadCells, LineMap, Table, TimeDifference};

/// Rows and further time columns that did not fit.
pub fn of_table(place: &Place, table: &Table, layout: &Layout, warnings: &mut Vec<Warning>) {
    if let Some(cut) = &table.truncated {
        warnings.push(place.warning(
            WarningKind::RowTruncated,
            Some(cut.line),
            Some(cut.column),
            format!(
                "the last row is incomplete: it ends at cell {} of {} with \"{}\". The copy stopped there; the row is left out and the {} rows before it are used",
                cut.cells,
                layout.cells.1,
                cut.text.chars().rev().take(40).collect::<Vec<_>>().into_iter().rev().collect::<String>(),
                table.rows
            ),
        ));
    }
    if let Some(change) = &table.change {
        warnings.push(place.warning(
            WarningKind::LayoutChange,
            Some(change.line),
            None,
            format!(
                "the layout changes here: above, the field delimiter is {} with '{}' as decimal mark; from here on {} with '{}'. The {} rows above are used, the {} below are not. Export the record again, or bring the file to one layout",
                layout.dialect.delimiter_name(),
                layout.dialect.decimal as char,
                change.dialect.delimiter_name(),
                change.dialect.decimal as char,
                table.rows,
                change.rows
            ),
        ));
    }
    if let Some(bad) = &table.bad_rows {
        warnings.push(place.warning(
            match bad.text_only {
                true => WarningKind::TextRows,
                false => WarningKind::BadRows,
            },
            Some(bad.line),
            None,
            format!(
                "{} rows do not fit the table and are left out: the first ({}) reads \"{}\". Check the lines, or export again",
                bad.count,
                unfit(bad.cells, layout.cells.1),
                bad.text.chars().take(60).collect::<String>()
            ),
        ));
    }
    if let Some(footer) = table.footer {
        warnings.push(place.warning(
            WarningKind::Footer,
            Some(footer.first_line),
            None,
            format!(
                "{} lines of text under the table are left out",
                footer.lines
            ),
        ));
    }
    warnings.extend(header_wider(place, layout));
    if table.padding > 0 {
        warnings.push(place.warning(
            WarningKind::Padding,
            None,
            None,
            format!(
                "{} zero bytes behind the text are left out, as a copy leaves them that did not end in order. Check that the last rows are there",
                table.padding
            ),
        ));
    }
    if let Some(TimeDifference { column, line, by }) = table.time_differs {
        warnings.push(place.warning(
            WarningKind::TimeColumnsDiffer,
            Some(line),
            Some(column + 1),
            format!(
                "the time in column {} differs from the first time column by {} here; the first is used for all channels",
                column + 1,
                brief(by)
            ),
        ));
    }
}

/// More names than columns.
fn header_wider(place: &Place, layout: &Layout) -> Option<Warning> {
    let line = layout.header_wider?;
    Some(place.warning(
        WarningKind::HeaderWider,
        Some(line),
        None,
        format!(
            "this line has more names than the rows have cells ({}), so no name is used: a delimiter may stand within one. Correct the line, or give units with --unit 2=V and the like",
            layout.cells.1
        ),
    ))
}

pub fn record_length(place: &Place, line: usize, stated: f64, rows: usize) -> Warning {
    place.warning(
        WarningKind::RecordLength,
        Some(line),
        None,
        format!(
            "the preamble announces {stated} samples, {rows} rows are here. The rows are used; export the whole record if the rest is wanted"
        ),
    )
}

/// A channel without numbers, or with cells beyond its range. `lines` has the line of each row, `others` counts the
/// channels that do hold numbers.
pub fn of_channel(
    place: &Place,
    channel: &Channel,
    lines: &LineMap,
    rows: usize,
    others: usize,
) -> Option<Warning> {
    let Channel { column, name, .. } = channel;
    if channel.missing == rows && rows > 0 {
        let next = if others > 0 {
            match others {
                1 => "The other channel can still be used".to_string(),
                n => format!("The other {n} channels can still be used"),
            }
        } else {
            "Nothing else is in the file; export again with the channel switched on".to_string()
        };
        return Some(place.warning(
            WarningKind::NoNumbers,
            Some(lines.line(0)),
            Some(*column),
            format!(
                "column {column} \"{name}\" has no numbers: all {rows} cells are blank or marked missing. {next}"
            ),
        ));
    }
    let (first, _) = channel.overrange.first()?;
    let above = channel.overrange.iter().filter(|o| o.1).count();
    let all = channel.overrange.len();
    Some(place.warning(
        WarningKind::Overrange,
        Some(lines.line(*first)),
        Some(*column),
        format!(
            "column {column} \"{name}\": {all} of {rows} cells are overrange marks ({above} above, {} below the range); they are kept as missing. Record again with a larger range if these instants matter",
            all - above
        ),
    ))
}

/// Whole numbers beside a stated step of the converter.
pub fn codes(place: &Place, line: usize, channel: &Channel) -> Option<Warning> {
    let step = channel.facts.code_step?;
    Some(place.warning(
        WarningKind::Codes,
        Some(line),
        Some(channel.column),
        format!(
            "column {} \"{}\" holds whole numbers, and the preamble states a step of {}: they are codes of the converter, so the stated unit is not used. Export values in volts, or scale the codes in a bench sheet (scale = {} beside the column)",
            channel.column, channel.name, brief(step), brief(step)
        ),
    ))
}

pub fn bad_cells(place: &Place, bad: &BadCells, channel: &Channel, decimal: u8) -> Warning {
    place.warning(
        WarningKind::NotANumber,
        Some(bad.line),
        Some(channel.column),
        format!(
            "column {} \"{}\": \"{}\" is not a number with '{}' as decimal mark ({} such cells); kept as missing. Check the line, or export again",
            channel.column, channel.name, bad.text, decimal as char, bad.count
        ),
    )
}
