//! Warnings about the times of the rows.

use super::kind::WarningKind;
use super::numbers::{brief, short};
use super::warning::{Place, Warning};
use crate::capture::rows::{LineMap, Table};
use crate::capture::time::TimeFault;
use crate::capture::time_unit::TimeUnit;
use std::path::Path;

pub fn of_time(place: &Place, lines: &LineMap, fault: &TimeFault) -> Warning {
    let (kind, row) = match *fault {
        TimeFault::Coarse { row, .. } => (WarningKind::TimeCoarse, Some(row)),
        TimeFault::Repeated { row, .. } => (WarningKind::TimeRepeated, Some(row)),
        TimeFault::Gap { row, .. } => (WarningKind::TimeGap, Some(row)),
        TimeFault::Backwards { row, .. } => (WarningKind::TimeBackwards, Some(row)),
        TimeFault::Uneven { .. } => (WarningKind::TimeUneven, None),
        TimeFault::Pairs { .. } => (WarningKind::TimeShared, Some(0)),
        TimeFault::Spread { row, .. } => (WarningKind::TimeShared, Some(row)),
        TimeFault::Sorted { .. } => (WarningKind::TimeSorted, Some(0)),
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
            "time does not advance: {} s is repeated, the first of {repeats} places in {rows} rows. The export has too few digits ({} s); the record as a whole implies a step of {} s, which is used. Export with more digits, or give the sampling interval with --interval",
            short(time_s),
            brief(resolution_s),
            brief(step_s)
        ),
        TimeFault::Repeated { time_s, places, .. } => format!(
            "duplicate timestamp {} s{}; the later row is left out. Export the record again if these rows matter",
            short(time_s),
            first_of(places)
        ),
        TimeFault::Gap {
            from_s,
            to_s,
            missing,
            places,
            ..
        } => format!(
            "gap in time from {} s to {} s: {} s long, about {missing} samples missing{}. The record is used in {} pieces; pass --time-gaps split to keep the longest piece only",
            short(from_s),
            short(to_s),
            brief(to_s - from_s),
            first_of(places),
            places + 1
        ),
        TimeFault::Backwards {
            from_s,
            to_s,
            places,
            ..
        } => format!(
            "time goes back from {} s to {} s{}; as requested, only the longest increasing stretch is kept",
            short(from_s),
            short(to_s),
            first_of(places)
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
        TimeFault::Pairs { step_s } => format!(
            "every timestamp is there twice, {} s apart, as peak detection writes it (least and largest sample). Both rows are kept, the second half a step later. If one of them is no sample of its own, give the interval of the rows with --interval",
            brief(step_s)
        ),
        TimeFault::Spread { time_s, places, .. } => format!(
            "{places} rows share the time of the row before them (first at {} s). All rows are kept and spread evenly up to the next time. Export with more digits, or give the sampling interval with --interval",
            short(time_s)
        ),
        TimeFault::Sorted { places } => format!(
            "the rows are put in the order of their times, as requested; time went back in {places} places"
        ),
        TimeFault::Cut { first, end, rows } => format!(
            "only lines {} to {} are kept ({} of {rows} rows), the longest stretch in which time increases without a gap",
            lines.line(first),
            lines.line(end - 1),
            end - first
        ),
    }
}

/// That there are more such places.
fn first_of(places: usize) -> String {
    match places {
        0 | 1 => String::new(),
        n => format!(" (first of {n} places)"),
    }
}

/// Says where the unit of the column of time comes from; `None` where the file states it.
pub(in crate::capture) fn time_unit(
    place: &Place,
    line: usize,
    (column, name): (usize, Option<&str>),
    unit: &TimeUnit,
) -> Option<Warning> {
    let title = name.map_or_else(String::new, |name| format!(" \"{name}\""));
    let (kind, text) = match unit {
        TimeUnit::Stated(_) => return None,
        TimeUnit::Epoch(unit) => (
            WarningKind::TimeUnitInferred,
            format!(
                "column {column}{title} counts from 1970 in steps of {} s, as the size of its numbers shows; time is counted from the first row. If that is wrong give the unit with --unit {column}=ms",
                brief(unit.to_si(1.0))
            ),
        ),
        TimeUnit::SerialDays(_) => (
            WarningKind::TimeUnitInferred,
            format!(
                "column {column}{title} counts days as spreadsheets do; time is counted from the first row. If that is wrong give the unit with --unit {column}=s or the like"
            ),
        ),
        TimeUnit::AsWritten => (
            WarningKind::TimeUnitInferred,
            format!(
                "no unit is stated for the time in column {column}{title}; taken as seconds, as its digits suggest. Otherwise pass --unit {column}=ms or the like"
            ),
        ),
        TimeUnit::Assumed(written) => (
            WarningKind::TimeUnitAssumed,
            match written {
                Some(text) => format!(
                    "the unit \"{text}\" of the time in column {column}{title} is not a recognised unit of time; seconds are assumed. Give it with --unit {column}=s, {column}=ms or the like"
                ),
                None => format!(
                    "no unit is stated for the time in column {column}{title}; seconds are assumed. Give it with --unit {column}=s, {column}=ms or the like"
                ),
            },
        ),
    };
    Some(place.warning(kind, Some(line), Some(column), text))
}

pub fn interval_unit(place: &Place, line: usize, interval_s: f64) -> Warning {
    place.warning(
        WarningKind::TimeUnitAssumed,
        Some(line),
        None,
        format!(
            "the sampling interval is stated without a unit; {} s is assumed. Give it with --interval, e.g. --interval 10us",
            brief(interval_s)
        ),
    )
}

pub fn intervals_disagree(place: &Place, line: usize, one: f64, other: f64) -> Warning {
    place.warning(
        WarningKind::IntervalsDisagree,
        Some(line),
        None,
        format!(
            "the settings state a sampling interval of {} s here and of {} s elsewhere; the first is used. Give the right one with --interval",
            brief(one),
            brief(other)
        ),
    )
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
        format!("{count} rows have no time and are left out"),
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

/// The times of a further file of a capture differ from those of the first. `rows`: of the first, of the other, of both together;
/// `between`: samples had to be interpolated.
pub fn times_aligned(
    place: &Place,
    first: &Path,
    rows: (usize, usize, usize),
    between: bool,
) -> Warning {
    let (of_first, of_other, together) = rows;
    place.warning(
        WarningKind::TimesAligned,
        None,
        None,
        format!(
            "its times differ from those of {} ({of_other} and {of_first} rows); the {together} rows that both cover are used{}. Export both channels of one acquisition for equal times",
            first.display(),
            if between { ", with its values interpolated between samples" } else { "" }
        ),
    )
}
