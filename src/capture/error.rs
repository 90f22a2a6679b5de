//! Why a file could not be read: typed, with its place, and worded place, found, expected, next step.

use super::time::BackwardsPattern;
use std::path::PathBuf;
use thiserror::Error;

/// Why [`read`](fn@super::read) gave no record. Lines and columns are 1-based.
#[derive(Debug, Error)]
#[non_exhaustive]
pub enum ReadError {
    /// The operating system refused the file or a read from it.
    #[error("{}: cannot be read: {source}. Check the path and its permissions", path.display())]
    Io {
        /// The file read.
        path: PathBuf,
        /// Error of the operating system.
        #[source]
        source: std::io::Error,
    },
    /// A directory, device, pipe or socket.
    #[error(
        "{}: is {what}, expected a regular file of exported text. Name the exported CSV itself",
        path.display()
    )]
    NotAFile {
        /// The file read.
        path: PathBuf,
        /// What it is instead, with its article.
        what: &'static str,
    },
    /// A file of zero bytes.
    #[error(
        "{}: the file is empty (0 bytes), expected rows of numbers. Export the record again",
        path.display()
    )]
    Empty {
        /// The file read.
        path: PathBuf,
    },
    /// A binary format, recognised by its first bytes.
    #[error(
        "{}: not text: recognised as {what} by its first bytes, expected an exported table of numbers. {advice}",
        path.display()
    )]
    NotText {
        /// The file read.
        path: PathBuf,
        /// Name of the format.
        what: &'static str,
        /// What to export instead.
        advice: &'static str,
    },
    /// A zero byte within the text.
    #[error(
        "{}:{line}: a zero byte stands in the text: not text from here on. The copy is damaged or the file is binary; export as CSV again",
        path.display()
    )]
    ZeroByte {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
    },
    /// A damaged or truncated compressed stream.
    #[error(
        "{}: the compressed stream cannot be unpacked: {source}. The copy is damaged or stopped early; copy or compress it again",
        path.display()
    )]
    Compressed {
        /// The file read.
        path: PathBuf,
        /// Error of the decoder.
        #[source]
        source: std::io::Error,
    },
    /// Text or a header, but no row of numbers below.
    #[error(
        "{}:{line}: no samples: {} and no row of numbers below. Export the record again with its samples",
        path.display(),
        if columns.is_empty() { "only text".to_string() } else { format!("the header announces {} columns: {}", columns.len(), columns.iter().map(|c| format!("`{c}`")).collect::<Vec<_>>().join(", ")) }
    )]
    NoSamples {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// Column names of the header; empty where none was found.
        columns: Vec<String>,
    },
    /// No row of numbers in the part of the file that is searched for a table.
    #[error(
        "{}: no table of numbers found in the first {lines} lines. {hint}",
        path.display()
    )]
    NoTable {
        /// The file read.
        path: PathBuf,
        /// Number of lines searched.
        lines: usize,
        /// What to do, as a sentence.
        hint: String,
    },
    /// A column mostly of cells that are not numbers.
    #[error(
        "{}:{line}:{column}: column {column} \"{name}\": \"{text}\" is not a number with '{decimal}' as decimal mark ({count} cells like it). Say the layout with --delimiter and --decimal, or export again",
        path.display()
    )]
    NotANumber {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// 1-based column.
        column: usize,
        /// Column name.
        name: String,
        /// The first such cell, as written.
        text: String,
        /// Decimal mark in use.
        decimal: char,
        /// Number of such cells in the column.
        count: usize,
    },
    /// Every row carries the same time.
    #[error(
        "{}:{line}: all {rows} rows carry the time {time_s} s, expected times that rise from row to row. Name another column of time with --time-column, or give the interval of the rows with \
         --interval",
        path.display()
    )]
    OneTime {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first row.
        line: usize,
        /// Number of rows.
        rows: usize,
        /// The time, s.
        time_s: f64,
    },
    /// More rows than tolerable have another number of cells than the table.
    #[error(
        "{}:{line}: {count} of {rows} rows do not fit the layout (first: {}). Say the layout with --delimiter, --decimal and --skip-lines, or export again",
        path.display(),
        unfit(*found, *expected)
    )]
    TooManyBadRows {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first such row.
        line: usize,
        /// Number of such rows.
        count: usize,
        /// Number of all rows.
        rows: usize,
        /// Cells in the first such row.
        found: usize,
        /// Cells of a row of the table.
        expected: usize,
    },
    /// A line above [`Limits::line_bytes`](super::Limits::line_bytes).
    #[error(
        "{}:{line}: the line is longer than {limit} bytes; expected one row of samples a line. Check that the export has line ends, or raise --max-line-bytes (in a sheet: max_line_bytes under import)",
        path.display()
    )]
    LineTooLong {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// The limit, bytes.
        limit: usize,
    },
    /// A table wider than [`Limits::columns`](super::Limits::columns).
    #[error(
        "{}:{line}: {found} columns, at most {limit} are read. Export fewer channels, or raise --max-columns (in a sheet: max_columns under import)",
        path.display()
    )]
    TooManyColumns {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// Columns of the table.
        found: usize,
        /// The limit, columns.
        limit: usize,
    },
    /// More numbers than [`Limits::numbers`](super::Limits::numbers).
    #[error(
        "{}:{line}: more than {limit} numbers; the record does not fit the limit on memory. Export a shorter record or fewer channels, or raise --max-numbers (in a sheet: max_numbers under import)",
        path.display()
    )]
    TooManyNumbers {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// The limit, numbers.
        limit: usize,
    },
    /// More decompressed text than [`Limits::text_bytes`](super::Limits::text_bytes).
    #[error(
        "{}:{line}: more than {limit} bytes of text. Export a shorter record, or raise --max-text-bytes (in a sheet: max_text_bytes under import)",
        path.display()
    )]
    TooMuchText {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// The limit, bytes.
        limit: u64,
    },
    /// A compression ratio above [`Limits::unpack_ratio`](super::Limits::unpack_ratio).
    #[error(
        "{}: {packed} packed bytes have given {text} bytes of text so far, more than {limit} each, which exported samples never do. If the file can be trusted raise --max-unpack-ratio (in a sheet: max_unpack_ratio under import)",
        path.display()
    )]
    UnpacksTooFar {
        /// The file read.
        path: PathBuf,
        /// Compressed bytes read so far.
        packed: u64,
        /// Bytes of text obtained from them.
        text: u64,
        /// The limit: bytes of text for one compressed byte.
        limit: u64,
    },
    /// A quotation mark without its partner on the same line.
    #[error(
        "{}:{line}: a quotation mark is not closed on its line. Mend the line or export again",
        path.display()
    )]
    OpenQuote {
        /// The file read.
        path: PathBuf,
        /// 1-based line.
        line: usize,
    },
    /// The rows stand against something that is not time.
    #[error(
        "{}:{line}: not a record against time: {why}. It is a spectrum, a sweep or another table, and no motor can be identified from it. Export the waveform against time; where column {column} is time all the same, pass --time-column {column} (in a sheet: time_column under import)",
        path.display()
    )]
    OtherAxis {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first row.
        line: usize,
        /// 1-based column of the axis.
        column: usize,
        /// What shows it, as a clause.
        why: String,
    },
    /// The comma parts the cells and is the decimal mark.
    #[error(
        "{}:{line}: the comma is delimiter and decimal mark at once, so numbers were cut in two. Export with another delimiter or a decimal point; where every number has its decimal comma, --delimiter comma --decimal comma puts them together again",
        path.display()
    )]
    CommaIsBoth {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first row.
        line: usize,
    },
    /// A column of units that are not the same in all rows.
    #[error(
        "{}:{line}:{column}: the unit in column {column} changes from row to row, as of a meter that changes its range. Export with a fixed range; --unit {}=V takes all numbers before it in one unit",
        path.display(),
        column - 1
    )]
    UnitsVary {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first row.
        line: usize,
        /// 1-based column of the units.
        column: usize,
    },
    /// Rows of numbers above the table that are written otherwise.
    #[error(
        "{}:{line}: {rows} rows of figures like \"{text}\" stand above the table that was found and do not fit it: their digits are grouped, or they have another number of columns. Export in one layout, or leave these rows out with --skip-lines {skip}",
        path.display()
    )]
    OtherNotation {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first of them.
        line: usize,
        /// That line.
        text: String,
        /// How many there are.
        rows: usize,
        /// Lines above the table.
        skip: usize,
    },
    /// No column of numbers, but codes.
    #[error(
        "{}:{line}: no column of numbers: column {column} \"{name}\" holds codes (hexadecimal or bits), not volts or amperes. Export values in volts; --hex-column {column} reads the codes as whole numbers, to be scaled by a bench sheet",
        path.display()
    )]
    OnlyCodes {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first row.
        line: usize,
        /// 1-based column of the codes.
        column: usize,
        /// Its name; empty where it has none.
        name: String,
    },
    /// The rows of several channels in one column of values.
    #[error(
        "{}:{line}: not one column a channel: column {column} names the channel of each row ({}), and each time stands once a channel. Export with one column a channel, or bring the table to that shape (a pivot table of a spreadsheet does it)",
        path.display(),
        channels.join(", ")
    )]
    MixedChannels {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first row.
        line: usize,
        /// 1-based column that names the channel.
        column: usize,
        /// Names of the channels.
        channels: Vec<String>,
    },
    /// Times that do not increase.
    #[error(
        "{}:{line}: time goes back from {from} s to {to} s ({}). {}",
        path.display(),
        if *places == 1 { "1 place".to_string() } else { format!("first of {places} places") },
        pattern.advice()
    )]
    TimeBackwards {
        /// The file read.
        path: PathBuf,
        /// 1-based line of the first such place.
        line: usize,
        /// Time before the step back, s.
        from: f64,
        /// Time after it, s.
        to: f64,
        /// Number of such places.
        places: usize,
        /// What the steps back look like.
        pattern: BackwardsPattern,
    },
    /// Files of one capture whose times have nothing in common.
    #[error(
        "{}: its times and those of {} do not overlap, or one of the files has none, so they are no records of one event. Name files of one event, or give their times with --interval and --first-time (in a sheet: interval_s and start_s under import)",
        other.display(),
        path.display()
    )]
    TimesApart {
        /// The first file.
        path: PathBuf,
        /// The file that does not fit it.
        other: PathBuf,
    },
    /// An option whose value cannot be used.
    #[error("{}: {option} {value}: {reason}", path.display())]
    Option {
        /// The file read.
        path: PathBuf,
        /// The option, as on the command line.
        option: &'static str,
        /// The value given.
        value: String,
        /// Why it cannot be used.
        reason: String,
    },
}

/// Why a row does not fit the table: another number of cells, or a cell that is no number which a double holds (such as `1e400`).
pub(super) fn unfit(found: usize, expected: usize) -> String {
    if found == expected {
        "a cell is not a number of at most 1.8e308".into()
    } else {
        format!("{found} cells where {expected} are expected")
    }
}
