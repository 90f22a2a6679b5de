//! Why a file could not be read.

use super::{counted, short, unfit};
use serde::Serialize;

/// What a [`ReadError`](super::super::ReadError) is about. The text comes by `Display`; code and numbers by `Serialize`. Columns are counted from 1.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(tag = "code", rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum ReadErrorKind {
    #[error("cannot be read: {reason}.\nCheck the path and its permissions")]
    Io { reason: String },
    #[error("no file is named")]
    NoFile,
    #[error("is {found}, expected a regular file of exported text.\nName the exported CSV itself")]
    NotAFile { found: &'static str },
    #[error("--encoding {label}: no such text encoding;\nuse a label such as utf-8, utf-16le or windows-1252")]
    NoSuchEncoding { label: String },
    #[error("the file is empty (0 bytes), expected rows of numbers.\nExport the record again")]
    Empty,
    #[error("not text: recognised as {found} by its first bytes, expected an exported table of numbers.\n{next}")]
    NotText { found: &'static str, #[serde(skip)] next: &'static str },
    #[error("the compressed stream cannot be unpacked: {reason}. The copy is damaged or stopped early;\ncopy or compress it again")]
    Unpacking { reason: String },
    #[error("{packed_bytes} packed bytes have given {bytes} bytes of text so far, more than {ratio} each, which exported samples never do.\nIf the file can be trusted raise --max-unpack-ratio (in a sheet: max_unpack_ratio under import)")]
    UnpackRatio { packed_bytes: u64, bytes: u64, ratio: u64 },
    #[error("the text contains a zero byte: not text from here on.\nThe copy is damaged or the file is binary; export as CSV again")]
    ZeroByte,
    #[error("more than {limit} bytes of text.\nExport a shorter record, or raise --max-text-bytes (in a sheet: max_text_bytes under import)")]
    TextBytes { limit: u64 },
    #[error("the line is longer than {limit} bytes; expected one row of samples a line.\nCheck that the export has line ends, or raise --max-line-bytes (in a sheet: max_line_bytes under import)")]
    LineBytes { limit: usize },
    #[error("a quotation mark is not closed on its line.\nFix the line or export again")]
    OpenQuote,
    #[error("this is JSON, expected a table with one row of samples a line.\nExport as CSV, or write one line a row")]
    Json,
    #[error("{found} columns, at most {limit} are read.\nExport fewer channels, or raise --max-columns (in a sheet: max_columns under import)")]
    Columns { found: usize, limit: usize },
    #[error("more than {limit} numbers; the record does not fit the limit on memory.\nExport a shorter record or fewer channels, or raise --max-numbers (in a sheet: max_numbers under import)")]
    Numbers { limit: usize },
    #[error("no table of numbers found in the first {lines} lines. It holds blank lines only;\nexport the record again")]
    BlankLines { lines: usize },
    #[error("no table of numbers found in the first {lines} lines. With the delimiter and decimal mark given no line is a row of numbers; left to itself the program finds {delimiter} and '{decimal}' as decimal mark.\nDrop --delimiter and --decimal")]
    OtherDialect { lines: usize, delimiter: &'static str, decimal: char },
    #[error(
        "no samples: {} and no row of numbers below.\nExport the record again with its samples",
        announced(columns)
    )]
    NoSamples { columns: Vec<String> },
    #[error("no table of numbers found in the first {lines} lines.\nSay where the numbers begin with --skip-lines, or export as CSV")]
    NoTable { lines: usize },
    #[error("the comma is delimiter and decimal mark at once, so numbers were cut in two.\nExport with another delimiter or a decimal point; where every number has its decimal comma, --delimiter comma --decimal comma puts them together again")]
    CutAtCommas,
    #[error("{rows} rows of figures like \"{text}\" are above the table that was found and do not fit it: their digits are grouped, or they have another number of columns.\nExport in one layout, or leave these rows out with --skip-lines {skip}")]
    OtherRows { rows: usize, text: String, skip: usize },
    #[error("{bad} of {rows} rows do not fit the layout (first: {}).\nSay the layout with --delimiter, --decimal and --skip-lines, or export again", unfit(*cells, *expected))]
    BadRows { bad: usize, rows: usize, cells: usize, expected: usize },
    #[error("not one column a channel: column {of_names} names the channel of each row ({}), and each time occurs once a channel.\nExport with one column a channel, or bring the table to that shape (a pivot table of a spreadsheet does it)", channels.join(", "))]
    MixedChannels { of_names: usize, channels: Vec<String> },
    #[error("each row is a channel ({}), expected one column a channel.\nTranspose the table, as a spreadsheet does when it pastes, and export it again", channels.join(", "))]
    RowsAsChannels { channels: Vec<String> },
    #[error("no column of numbers: column {of_codes} \"{name}\" holds codes (hexadecimal or bits), not volts or amperes.\nExport values in volts; --hex-column {of_codes} reads the codes as whole numbers, to be scaled by a bench sheet")]
    OnlyCodes { of_codes: usize, name: String },
    #[error("the unit in column {column} changes from row to row, as of a meter that changes its range.\nExport with a fixed range; --unit {}=V takes all numbers before it in one unit", column - 1)]
    UnitsVary { #[serde(skip)] column: usize },
    #[error("not a record against time: {sign}. It is a spectrum, a sweep or another table, and no motor can be identified from it.\nExport the waveform against time; where column {axis} is time all the same, pass --time-column {axis} (in a sheet: time_column under import)")]
    OtherAxis { axis: usize, sign: OtherAxis },
    #[error("column {column} \"{name}\": \"{text}\" is not a number with '{decimal}' as decimal mark ({cells} cells like it).\nSay the layout with --delimiter and --decimal, or export again")]
    NoNumbers { #[serde(skip)] column: usize, name: String, text: String, decimal: char, cells: usize },
    #[error("--interval {interval_s} s: a sampling interval is positive")]
    Interval { interval_s: f64 },
    #[error("all {rows} rows carry the time {time_s} s, expected times that rise from row to row.\nName another column of time with --time-column, or give the interval of the rows with --interval")]
    EqualTimes { rows: usize, time_s: f64 },
    #[error("time goes back from {} s to {} s ({}).{}", short(*from_s), short(*to_s), match places { 1 => "1 place".to_owned(), n => format!("first of {n} places") }, pattern.words())]
    TimeBackwards { from_s: f64, to_s: f64, places: usize, pattern: StepsBack },
    #[error("its times and those of {other} do not overlap, or one of the files has none, so they are no records of one event.\nName files of one event, or give their times with --interval and --first-time (in a sheet: interval_s and start_s under import)")]
    NoOverlap { other: String },
}

/// What steps back in time look like.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum StepsBack {
    /// So many that the rows are in another order than that of time.
    Shuffled,
    /// Time begins again.
    Restarts,
    /// Here and there.
    Other,
}

impl StepsBack {
    fn words(self) -> &'static str {
        match self {
            StepsBack::Shuffled => {
                " The rows are not in the order of time, if this column is time at all.\n--time-gaps sort puts them in order; --time-column names another column"
            }
            StepsBack::Restarts => {
                " Time begins again there: the file holds several records.\nExport them one by one, or pass --time-gaps split to keep the longest (the first of equals)"
            }
            StepsBack::Other => {
                "\nExport the record again, or pass --time-gaps split to keep its longest increasing stretch"
            }
        }
    }
}

/// What shows that rows do not stand against time. Columns are counted from 1.
#[derive(Clone, Debug, PartialEq, Serialize, thiserror::Error)]
#[serde(rename_all = "kebab-case")]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum OtherAxis {
    #[error("column {column} \"{name}\" is in {unit}")]
    Unit { column: usize, name: String, unit: String },
    #[error("column {column} is called \"{name}\"")]
    Name { column: usize, name: String },
    #[error("column {column} \"{name}\" is a level in decibels or a transform")]
    Level { column: usize, name: String },
    #[error("column {column} grows by a constant factor of {factor:.4}, as a sweep does")]
    Steps { column: usize, factor: f64 },
    #[error("line {line} states {key} as \"{unit}\"")]
    StatedUnit { line: usize, key: String, unit: String },
    #[error("line {line} states a \"{key}\"")]
    Setting { line: usize, key: String },
}

/// The columns that a header announces.
fn announced(columns: &[String]) -> String {
    /// So many names are printed.
    const MOST_NAMES: usize = 8;
    let (shown, more) = match columns.len() {
        0 => return "only text".to_owned(),
        count if count > MOST_NAMES => (MOST_NAMES, ", \u{2026}"),
        count => (count, ""),
    };
    let names: Vec<String> = columns[..shown].iter().map(|c| format!("`{c}`")).collect();
    let count = counted(columns.len(), "column");
    format!("the header announces {count}: {}{more}", names.join(", "))
}
