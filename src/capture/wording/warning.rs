//! Faults that did not stop the reading.

use super::{brief, counted, first_of, quoted, short, unfit};
use serde::Serialize;

/// What a [`Warning`](super::super::Warning) is about. The text comes by `Display`; code and numbers by `Serialize`. Columns are counted from 1.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum WarningKind {
    #[error("time does not advance: {} s is repeated, the first of {} in {rows} rows. The export has too few digits ({} s); the record as a whole implies a step of {} s, which is used.\nExport with more digits, or give the sampling interval with --interval", short(*time_s), counted(*places, "place"), brief(*resolution_s), brief(*step_s))]
    TimeCoarse { time_s: f64, places: usize, rows: usize, resolution_s: f64, step_s: f64 },
    #[error("duplicate timestamp {} s{}; the later row is left out.\nExport the record again if these rows matter", short(*time_s), first_of(*places))]
    TimeRepeated { time_s: f64, places: usize },
    #[error("gap in time from {} s to {} s: {} s long, about {} missing{}. The record is used in {} pieces.\nPass --time-gaps split to keep the longest piece only", short(*from_s), short(*to_s), brief(to_s - from_s), counted(*missing, "sample"), first_of(*places), places + 1)]
    TimeGap { from_s: f64, to_s: f64, missing: usize, places: usize },
    #[error("time goes back from {} s to {} s{}; as requested, only the longest increasing stretch is kept", short(*from_s), short(*to_s), first_of(*places))]
    TimeBackwards { from_s: f64, to_s: f64, places: usize },
    #[error("time runs unevenly: steps from {} s to {} s, median {} s; every time is kept as written", brief(*shortest_s), brief(*longest_s), brief(*median_s))]
    TimeUneven { shortest_s: f64, longest_s: f64, median_s: f64 },
    #[error("only {kept} of {rows} rows are kept, the longest stretch in which time increases without a gap")]
    TimeCut { kept: usize, rows: usize },
    #[error("no time column and no sampling interval in the file; rows are only counted.{}\nGive the interval with --interval, the column with --time-column", if *xy_plot { " Two columns without times are an XY plot or bare samples: of an XY plot export both channels against time." } else { "" })]
    TimeAbsent { xy_plot: bool },
    /// Named by an option, and not in the table.
    #[error("{option} names column {number}, and the table has {columns}: it has no effect.\nColumns are counted from 1")]
    NoSuchColumn { option: &'static str, number: usize, columns: usize },
    #[error("{} no time and {} left out", counted(*rows, "row") + if *rows == 1 { " has" } else { " have" }, if *rows == 1 { "is" } else { "are" })]
    TimeMissing { rows: usize },
    #[error(
        "the unit \"{unit}\" of the time in column {column}{} is not a recognised unit of time; seconds are assumed.\nGive it with --unit {column}=s, {column}=ms or the like",
        quoted(name)
    )]
    #[serde(rename = "time-unit-assumed")]
    TimeUnitUnknown { #[serde(skip)] column: usize, name: Option<String>, unit: String },
    #[error(
        "no unit is stated for the time in column {column}{}; seconds are assumed.\nGive it with --unit {column}=s, {column}=ms or the like",
        quoted(name)
    )]
    #[serde(rename = "time-unit-assumed")]
    TimeUnitNotStated { #[serde(skip)] column: usize, name: Option<String> },
    #[error("the sampling interval is stated without a unit; {} s is assumed.\nGive it with --interval, e.g. --interval 10us", brief(*interval_s))]
    #[serde(rename = "time-unit-assumed")]
    IntervalUnitNotStated { interval_s: f64 },
    #[error("column {column}{} counts from 1970 in steps of {} s, as the size of its numbers shows; time is counted from the first row.\nIf that is wrong give the unit with --unit {column}=ms", quoted(name), brief(*unit_s))]
    #[serde(rename = "time-unit-inferred")]
    TimeSinceEpoch { #[serde(skip)] column: usize, name: Option<String>, unit_s: f64 },
    #[error(
        "column {column}{} counts days as spreadsheets do; time is counted from the first row.\nIf that is wrong give the unit with --unit {column}=s or the like",
        quoted(name)
    )]
    #[serde(rename = "time-unit-inferred")]
    TimeInDays { #[serde(skip)] column: usize, name: Option<String> },
    #[error(
        "no unit is stated for the time in column {column}{}; taken as seconds, as its digits suggest.\nOtherwise pass --unit {column}=ms or the like",
        quoted(name)
    )]
    #[serde(rename = "time-unit-inferred")]
    TimeInSeconds { #[serde(skip)] column: usize, name: Option<String> },
    /// Every time occurs twice; all rows are kept.
    #[error("every timestamp is there twice, {} s apart, as peak detection writes it (least and largest sample). Both rows are kept, the second half a step later.\nIf one of them is no sample of its own, give the interval of the rows with --interval", brief(*step_s))]
    #[serde(rename = "time-shared")]
    TimeInPairs { step_s: f64 },
    /// Many rows share their time; all rows are kept.
    #[error("{rows} rows share the time of the row before them (first at {} s). All rows are kept and spread evenly up to the next time.\nExport with more digits, or give the sampling interval with --interval", short(*time_s))]
    TimeShared { rows: usize, time_s: f64 },
    #[error("columns {} hold the least and the largest value of one channel, as peak detection writes them. Both are kept as samples{}.\nIf they are channels of their own, pass --envelope-columns (in a sheet: envelope_columns = true under import)", pairs.iter().map(|(least, largest)| format!("{least} and {largest}")).collect::<Vec<_>>().join(", "), step_s.map_or_else(String::new, |step| format!(", {} s apart", brief(step))))]
    #[serde(rename = "time-shared")]
    Envelope {
        /// Columns of the least and the largest value.
        pairs: Vec<(usize, usize)>,
        step_s: Option<f64>,
    },
    #[error("the rows are put in the order of their times, as requested; time went back in {}", counted(*places, "place"))]
    TimeSorted { places: usize },
    #[error("its times differ from those of {other} ({rows} and {other_rows} rows); the {common} rows that both cover are used{}.\nExport both channels of one acquisition for equal times", if *interpolated { ", with its values interpolated between samples" } else { "" })]
    TimesAligned { other: String, rows: usize, other_rows: usize, common: usize, interpolated: bool },
    #[error("the settings state a sampling interval of {} s here and of {} s elsewhere; the first is used.\nGive the right one with --interval", brief(*here_s), brief(*elsewhere_s))]
    IntervalsDisagree { here_s: f64, elsewhere_s: f64 },
    #[error("the time in column {column} differs from the first time column by {} s here; the first is used for all channels", brief(*by_s))]
    TimeColumnsDiffer { #[serde(skip)] column: usize, by_s: f64 },
    #[error("the time in column {column} runs {ratio:.3} times as fast as that in the first time column, which is used for all channels: those behind column {column} are at wrong times.\nExport all channels at one rate, or each into a file of its own (file = [\"one.csv\", \"other.csv\"] in a sheet joins them by their times)")]
    TimePacesDiffer { #[serde(skip)] column: usize, ratio: f64 },
    #[error("the preamble states a sampling interval of {} s, the time column runs in steps of {} s ({:.4} times as long). The time column is used.\nGive --interval to overrule it", brief(*stated_s), brief(*found_s), found_s / stated_s)]
    IntervalContradicts { stated_s: f64, found_s: f64 },
    #[error("the preamble announces {announced} sample{}, {} here. The rows are used.\nExport the whole record if the rest is wanted", if *announced == 1.0 { "" } else { "s" }, counted(*rows, "row") + if *rows == 1 { " is" } else { " are" })]
    RecordLength { announced: f64, rows: usize },
    #[error("the last row is incomplete: it ends at cell {cells} of {expected} with \"{text}\". The copy stopped there; the row is left out and the {rows} rows before it are used")]
    RowTruncated { cells: usize, expected: usize, text: String, rows: usize },
    #[error("the layout changes here: above, the field delimiter is {} with '{}' as decimal mark; from here on {} with '{}'. The {rows} rows above are used, the {rows_below} below are not.\nExport the record again, or bring the file to one layout", above.0, above.1, below.0, below.1)]
    LayoutChange {
        /// Field delimiter and decimal mark.
        above: (&'static str, char),
        below: (&'static str, char),
        rows: usize,
        rows_below: usize,
    },
    #[error("{}", misfits(*rows, *cells, *expected, text))]
    BadRows { rows: usize, cells: usize, expected: usize, text: String },
    /// As `BadRows`; none of them holds a number, as a header that is repeated.
    #[error("{}", misfits(*rows, *cells, *expected, text))]
    TextRows { rows: usize, cells: usize, expected: usize, text: String },
    #[error("{bytes} zero bytes behind the text are left out, as a copy leaves them that did not end in order.\nCheck that the last rows are there")]
    Padding { bytes: u64 },
    #[error("{} of text under the table {} left out", counted(*lines, "line"), if *lines == 1 { "is" } else { "are" })]
    Footer { lines: usize },
    #[error("column {column} \"{name}\" has no numbers: all {rows} cells are blank or marked missing.\n{}", match others { 0 => "Nothing else is in the file; export again with the channel switched on".to_owned(), 1 => "The other channel can still be used".to_owned(), n => format!("The other {n} channels can still be used") })]
    NoNumbers { #[serde(skip)] column: usize, name: String, rows: usize, others: usize },
    /// Judged where events are found.
    #[error("column {column} \"{name}\": {} of {rows} cells are overrange marks ({above} above, {below} below the range); they are kept as missing.\nRecord again with a larger range if these instants matter", above + below)]
    Overrange { #[serde(skip)] column: usize, name: String, rows: usize, above: usize, below: usize },
    #[error("column {column} \"{name}\": \"{text}\" is not a number with '{decimal}' as decimal mark ({}); kept as missing.\nCheck the line, or export again", if *cells == 1 { "1 such cell".to_owned() } else { format!("{cells} such cells") })]
    NotANumber { #[serde(skip)] column: usize, name: String, text: String, decimal: char, cells: usize },
    /// A column of figures that no decimal mark makes sure numbers of.
    #[error("column {column} is left out: its figures (such as \"{text}\") are no numbers with '{decimal}' as decimal mark.\nExport all columns with one decimal mark, or pass --decimal")]
    #[serde(rename = "not-a-number")]
    ColumnUnread { #[serde(skip)] column: usize, text: String, decimal: char },
    #[error("this line has more names than the rows have cells ({cells}), so no name is used: a name may contain a delimiter.\nCorrect the line, or give units with --unit 2=V and the like")]
    HeaderWider { cells: usize },
    /// Numbers that are codes of a converter by what the preamble states.
    #[error("column {column} \"{name}\" holds whole numbers, and the preamble states a step of {0}: they are codes of the converter, so the stated unit is not used.\nExport values in volts, or scale the codes in a bench sheet (scale = {0} beside the column)", brief(*step))]
    Codes { #[serde(skip)] column: usize, name: String, step: f64 },
}

/// Rows left out, of which the first has so many cells.
fn misfits(rows: usize, cells: usize, expected: usize, text: &str) -> String {
    let (do_not, are) = match rows {
        1 => ("row does not", "is"),
        _ => ("rows do not", "are"),
    };
    let unfit = unfit(cells, expected);
    format!(
        "{rows} {do_not} fit the table and {are} left out: the first ({unfit}) reads \"{text}\".\nCheck the lines, or export again"
    )
}

impl WarningKind {
    /// Stable short name, e.g. `time-gap`.
    pub fn code(&self) -> String {
        let document = serde_json::to_value(self).unwrap_or_default();
        document["code"].as_str().unwrap_or_default().to_owned()
    }

    /// True where nothing is asked of the reader.
    pub fn is_note(&self) -> bool {
        use WarningKind::*;
        matches!(
            self,
            TimeSinceEpoch { .. }
                | TimeInDays { .. }
                | TimeInSeconds { .. }
                | TimeSorted { .. }
                | TextRows { .. }
                | Footer { .. }
                | Overrange { .. }
        )
    }

    /// True when the record should not be trusted without a look.
    pub fn is_doubtful(&self) -> bool {
        use WarningKind::*;
        matches!(
            self,
            TimeCoarse { .. }
                | TimeBackwards { .. }
                | TimeAbsent { .. }
                | NoSuchColumn { .. }
                | TimeUnitUnknown { .. }
                | TimeUnitNotStated { .. }
                | IntervalUnitNotStated { .. }
                | IntervalsDisagree { .. }
                | TimePacesDiffer { .. }
                | LayoutChange { .. }
                | BadRows { .. }
                | NotANumber { .. }
                | ColumnUnread { .. }
                | HeaderWider { .. }
                | Codes { .. }
        )
    }
}
