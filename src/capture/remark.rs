//! The wording of every doubt that does not stop the reading: place, found, effect, next step.

use super::layout::Layout;
use super::record::{Channel, Remark};
use super::rows::{BadCells, LineMap, Table};
use super::time::TimeFault;
use std::path::Path;

/// Kinds of [`Remark`] after which the record should not be trusted without a look.
const DOUBTFUL: [&str; 6] = [
    "time-coarse",
    "time-backwards",
    "layout-change",
    "not-a-number",
    "no-numbers-at-all",
    "bad-rows",
];

/// True when a remark of this kind makes the record doubtful as it stands.
pub fn is_doubtful(kind: &str) -> bool {
    DOUBTFUL.contains(&kind)
}

/// The file, as messages name it.
pub(super) struct Place(String);

impl Place {
    pub fn new(path: &Path) -> Place {
        Place(path.display().to_string())
    }

    fn remark(
        &self,
        kind: &str,
        line: Option<usize>,
        column: Option<usize>,
        text: String,
    ) -> Remark {
        let mut place = self.0.clone();
        for part in [line, column].into_iter().flatten() {
            place.push_str(&format!(":{part}"));
        }
        Remark {
            line,
            column,
            kind: kind.to_string(),
            text: format!("{place}: {text}"),
        }
    }
}

/// A number of seconds (or any quantity) with the digits a person needs.
fn short(value: f64) -> String {
    if value == 0.0 || (1e-3..1e5).contains(&value.abs()) {
        let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
        format!("{rounded}")
    } else {
        let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
        format!("{rounded:e}")
    }
}

/// A length of time, to four digits.
fn brief(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    short(rounded)
}

pub(super) fn of_time(place: &Place, lines: &LineMap, fault: &TimeFault) -> Remark {
    match *fault {
        TimeFault::Coarse {
            row,
            time_s,
            repeats,
            rows,
            step_s,
            resolution_s,
        } => place.remark(
            "time-coarse",
            Some(lines.line(row)),
            None,
            format!(
                "time does not advance: {} s stands again (first of {repeats} places in {rows} rows). The export kept too few digits ({} s) and they are lost; the record as a whole implies a step of {} s, which is used. Export with more digits, or give the sampling interval with --interval",
                short(time_s),
                brief(resolution_s),
                brief(step_s)
            ),
        ),
        TimeFault::Repeated {
            row,
            time_s,
            places,
        } => place.remark(
            "time-repeated",
            Some(lines.line(row)),
            None,
            format!(
                "time {} s stands twice (first of {places} place(s)); the later row is left out. Export the record again if it matters there",
                short(time_s)
            ),
        ),
        TimeFault::Gap {
            row,
            from_s,
            to_s,
            missing,
            places,
        } => place.remark(
            "time-gap",
            Some(lines.line(row)),
            None,
            format!(
                "gap in time from {} s to {} s: {} s long, about {missing} samples missing (first of {places} place(s)). The record is used in {} pieces; pass --time-gaps split to keep the longest piece only",
                short(from_s),
                short(to_s),
                brief(to_s - from_s),
                places + 1
            ),
        ),
        TimeFault::Backwards {
            row,
            from_s,
            to_s,
            places,
        } => place.remark(
            "time-backwards",
            Some(lines.line(row)),
            None,
            format!(
                "time goes back from {} s to {} s (first of {places} place(s)); as told, only the longest increasing stretch is kept",
                short(from_s),
                short(to_s)
            ),
        ),
        TimeFault::Uneven {
            median_s,
            least_s,
            most_s,
        } => place.remark(
            "time-uneven",
            None,
            None,
            format!(
                "time runs unevenly: steps from {} s to {} s, median {} s; every time is kept as written",
                brief(least_s),
                brief(most_s),
                brief(median_s)
            ),
        ),
        TimeFault::Cut { first, end, rows } => place.remark(
            "time-cut",
            Some(lines.line(first)),
            None,
            format!(
                "only lines {} to {} are kept ({} of {rows} rows), the longest stretch in which time increases without a gap",
                lines.line(first),
                lines.line(end - 1),
                end - first
            ),
        ),
    }
}

pub(super) fn time_absent(place: &Place, line: usize) -> Remark {
    place.remark(
        "time-absent",
        Some(line),
        None,
        "no time column and no sampling interval in the file; rows are only counted. Give the interval with --interval, the column with --time-column".to_string(),
    )
}

pub(super) fn time_missing(place: &Place, table: &Table, count: usize) -> Remark {
    place.remark(
        "time-missing",
        Some(table.lines.line(0)),
        None,
        format!("{count} row(s) have no time and are left out"),
    )
}

pub(super) fn interval_contradicts(place: &Place, line: usize, stated: f64, found: f64) -> Remark {
    place.remark(
        "interval-contradicts",
        Some(line),
        None,
        format!(
            "the preamble states a sampling interval of {} s, the time column runs in steps of {} s ({:.4} times as long). The time column is used; give --interval to overrule it",
            brief(stated),
            brief(found),
            found / stated
        ),
    )
}

pub(super) fn record_length(place: &Place, line: usize, stated: f64, rows: usize) -> Remark {
    place.remark(
        "record-length",
        Some(line),
        None,
        format!(
            "the preamble announces {stated} samples, {rows} rows are here. The rows are used; export the whole record if the rest is wanted"
        ),
    )
}

/// Rows and further time columns that did not fit.
pub(super) fn of_table(place: &Place, table: &Table, layout: &Layout, remarks: &mut Vec<Remark>) {
    if let Some(cut) = &table.truncated {
        remarks.push(place.remark(
            "row-truncated",
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
        remarks.push(place.remark(
            "layout-change",
            Some(change.line),
            None,
            format!(
                "the layout changes here: above, cells are parted by {} with '{}' as decimal mark; from here on by {} with '{}'. The {} rows above are used, the {} below are not. Export the record again, or bring the file to one layout",
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
        remarks.push(place.remark(
            "bad-rows",
            Some(bad.line),
            None,
            format!(
                "{} row(s) do not fit the table and are left out: the first has {} cells of {} and reads \"{}\". Check the lines, or export again",
                bad.count,
                bad.cells,
                layout.cells.1,
                bad.text.chars().take(60).collect::<String>()
            ),
        ));
    }
    if let Some((line, count)) = table.footer {
        remarks.push(place.remark(
            "footer",
            Some(line),
            None,
            format!("{count} line(s) of text under the table are left out"),
        ));
    }
    if let Some((column, line, by)) = table.time_disagrees {
        remarks.push(place.remark(
            "time-columns-differ",
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

/// A channel without numbers, or with cells beyond its range. `lines` tells the line of a row, `others` counts the
/// channels that do hold numbers.
pub(super) fn of_channel(
    place: &Place,
    channel: &Channel,
    lines: &LineMap,
    rows: usize,
    others: usize,
    remarks: &mut Vec<Remark>,
) {
    if channel.missing == rows && rows > 0 {
        remarks.push(place.remark(
            "no-numbers",
            Some(lines.line(0)),
            Some(channel.column),
            format!(
                "column {} \"{}\" has no numbers: all {rows} cells are blank or marked missing. {}",
                channel.column,
                channel.name,
                if others > 0 {
                    format!("The other {others} channel(s) can still be used")
                } else {
                    "Nothing else is in the file; export again with the channel switched on"
                        .to_string()
                }
            ),
        ));
        return;
    }
    if !channel.overrange.is_empty() {
        let first = channel.overrange[0].0;
        remarks.push(place.remark(
            "overrange",
            Some(lines.line(first)),
            Some(channel.column),
            format!(
                "column {} \"{}\": {} of {rows} cells are overrange marks ({} above, {} below the range); they are kept as missing. Record again with a larger range if these instants matter",
                channel.column,
                channel.name,
                channel.overrange.len(),
                channel.overrange.iter().filter(|o| o.1).count(),
                channel.overrange.iter().filter(|o| !o.1).count()
            ),
        ));
    }
}

pub(super) fn bad_cells(place: &Place, bad: &BadCells, channel: &Channel, decimal: u8) -> Remark {
    place.remark(
        "not-a-number",
        Some(bad.line),
        Some(channel.column),
        format!(
            "column {} \"{}\": \"{}\" is not a number with '{}' as decimal mark ({} cell(s) like it); kept as missing. Check the line, or export again",
            channel.column, channel.name, bad.text, decimal as char, bad.count
        ),
    )
}
