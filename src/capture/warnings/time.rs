//! Warnings about the times of the rows.

use super::kind::WarningKind;
use super::numbers::{brief, short};
use super::warning::{Place, Warning};
use crate::capture::rows::{LineMap, Table};
use crate::capture::time::TimeFault;

pub fn of_time(place: &Place, lines: &LineMap, fault: &TimeFault) -> Warning {
    let (kind, row) = match *fault {
        TimeFault::Coarse { row, .. } => (WarningKind::TimeCoarse, Some(row)),
        TimeFault::Repeated { row, .. } => (WarningKind::TimeRepeated, Some(row)),
        TimeFault::Gap { row, .. } => (WarningKind::TimeGap, Some(row)),
        TimeFault::Backwards { row, .. } => (WarningKind::TimeBackwards, Some(row)),
        TimeFault::Uneven { .. } => (WarningKind::TimeUneven, None),
        TimeFault::Cut { first, .. } => (WarningKind::TimeCut, Some(first)),
    };
    let line = row.map(|row| lines.line(row));
    place.warning(kind, line, None, text(lines, fault))
}

fn text(lines: &LineMap, fault: &TimeFault) -> String {
    match *fault {
        TimeFault::Coarse {
            time_s,
            repeats,
            rows,
            step_s,
            resolution_s,
            ..
        } => format!(
            "time does not advance: {} s stands again (first of {repeats} places in {rows} rows). The export kept too few digits ({} s) and they are lost; the record as a whole implies a step of {} s, which is used. Export with more digits, or give the sampling interval with --interval",
            short(time_s),
            brief(resolution_s),
            brief(step_s)
        ),
        TimeFault::Repeated { time_s, places, .. } => format!(
            "time {} s stands twice (first of {places} place(s)); the later row is left out. Export the record again if it matters there",
            short(time_s)
        ),
        TimeFault::Gap {
            from_s,
            to_s,
            missing,
            places,
            ..
        } => format!(
            "gap in time from {} s to {} s: {} s long, about {missing} samples missing (first of {places} place(s)). The record is used in {} pieces; pass --time-gaps split to keep the longest piece only",
            short(from_s),
            short(to_s),
            brief(to_s - from_s),
            places + 1
        ),
        TimeFault::Backwards {
            from_s,
            to_s,
            places,
            ..
        } => format!(
            "time goes back from {} s to {} s (first of {places} place(s)); as told, only the longest increasing stretch is kept",
            short(from_s),
            short(to_s)
        ),
        TimeFault::Uneven {
            median_s,
            least_s,
            most_s,
        } => format!(
            "time runs unevenly: steps from {} s to {} s, median {} s; every time is kept as written",
            brief(least_s),
            brief(most_s),
            brief(median_s)
        ),
        TimeFault::Cut { first, end, rows } => format!(
            "only lines {} to {} are kept ({} of {rows} rows), the longest stretch in which time increases without a gap",
            lines.line(first),
            lines.line(end - 1),
            end - first
        ),
    }
}

pub fn time_absent(place: &Place, line: usize) -> Warning {
    place.warning(
        WarningKind::TimeAbsent,
        Some(line),
        None,
        "no time column and no sampling interval in the file; rows are only counted. Give the interval with --interval, the column with --time-column".to_string(),
    )
}

pub fn time_missing(place: &Place, table: &Table, count: usize) -> Warning {
    place.warning(
        WarningKind::TimeMissing,
        Some(table.lines.line(0)),
        None,
        format!("{count} row(s) have no time and are left out"),
    )
}

pub fn interval_contradicts(place: &Place, line: usize, stated: f64, found: f64) -> Warning {
    place.warning(
        WarningKind::IntervalContradicts,
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
