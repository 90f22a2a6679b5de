//! Why a file could not be read: typed, with its place, and worded place, found, expected, next step.

use std::path::PathBuf;
use thiserror::Error;

/// Why [`read`](fn@super::read) gave no record. Lines and columns are 1-based.
#[derive(Debug, Error)]
pub enum ReadError {
    #[error("{}: cannot be read: {source}. Check the path and its permissions", path.display())]
    Io {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error(
        "{}: is {what}, expected a regular file of exported text. Name the exported CSV itself",
        path.display()
    )]
    NotAFile { path: PathBuf, what: &'static str },
    #[error(
        "{}: the file is empty (0 bytes), expected rows of numbers. Export the record again",
        path.display()
    )]
    Empty { path: PathBuf },
    #[error(
        "{}: not text: recognised as {what} by its first bytes, expected an exported table of numbers. {advice}",
        path.display()
    )]
    NotText {
        path: PathBuf,
        what: &'static str,
        advice: &'static str,
    },
    #[error(
        "{}:{line}: a zero byte stands in the text: not text from here on. The copy is damaged or the file is binary; export as CSV again",
        path.display()
    )]
    ZeroByte { path: PathBuf, line: usize },
    #[error(
        "{}: the compressed stream cannot be unpacked: {source}. The copy is damaged or stopped early; copy or compress it again",
        path.display()
    )]
    Compressed {
        path: PathBuf,
        #[source]
        source: std::io::Error,
    },
    #[error(
        "{}:{line}: no samples: {} and no row of numbers below. Export the record again with its samples",
        path.display(),
        if columns.is_empty() { "only text".to_string() } else { format!("the header announces {} column(s), {}", columns.len(), columns.iter().map(|c| format!("`{c}`")).collect::<Vec<_>>().join(", ")) }
    )]
    NoSamples {
        path: PathBuf,
        line: usize,
        columns: Vec<String>,
    },
    #[error(
        "{}: no table of numbers found in the first {lines} lines. {hint}",
        path.display()
    )]
    NoTable {
        path: PathBuf,
        lines: usize,
        hint: String,
    },
    #[error(
        "{}:{line}:{column}: column {column} \"{name}\": \"{text}\" is not a number with '{decimal}' as decimal mark ({count} cells like it). Say the layout with --delimiter and --decimal, or export again",
        path.display()
    )]
    NotANumber {
        path: PathBuf,
        line: usize,
        column: usize,
        name: String,
        text: String,
        decimal: char,
        count: usize,
    },
    #[error(
        "{}:{line}: {count} of {rows} rows do not fit the layout (first: {found} cells where {expected} are expected). Say the layout with --delimiter, --decimal and --skip-lines, or export again",
        path.display()
    )]
    TooManyBadRows {
        path: PathBuf,
        line: usize,
        count: usize,
        rows: usize,
        found: usize,
        expected: usize,
    },
    #[error(
        "{}:{line}: the line is longer than {limit} bytes; expected one row of samples a line. Check that the export has line ends, or raise --max-line-bytes",
        path.display()
    )]
    LineTooLong {
        path: PathBuf,
        line: usize,
        limit: usize,
    },
    #[error(
        "{}:{line}: {found} columns, at most {limit} are read. Export fewer channels, or raise --max-columns",
        path.display()
    )]
    TooManyColumns {
        path: PathBuf,
        line: usize,
        found: usize,
        limit: usize,
    },
    #[error(
        "{}:{line}: more than {limit} numbers; the record does not fit the limit on memory. Export a shorter record or fewer channels, or raise --max-numbers",
        path.display()
    )]
    TooManyNumbers {
        path: PathBuf,
        line: usize,
        limit: usize,
    },
    #[error(
        "{}:{line}: more than {limit} bytes of text. Export a shorter record, or raise --max-text-bytes",
        path.display()
    )]
    TooMuchText {
        path: PathBuf,
        line: usize,
        limit: u64,
    },
    #[error(
        "{}:{line}: a quotation mark is not closed on its line. Mend the line or export again",
        path.display()
    )]
    OpenQuote { path: PathBuf, line: usize },
    #[error(
        "{}:{line}: time goes back from {from} s to {to} s (first of {places} place(s)). Export the record again, or pass --time-gaps split to keep its longest increasing stretch",
        path.display()
    )]
    TimeBackwards {
        path: PathBuf,
        line: usize,
        from: f64,
        to: f64,
        places: usize,
    },
    #[error("{}: {option} {value}: {reason}", path.display())]
    Option {
        path: PathBuf,
        option: &'static str,
        value: String,
        reason: String,
    },
}

/// A fault found inside the chain of readers, carried through `std::io::Error` and taken out again at its end.
#[derive(Debug, Error)]
pub(super) enum StreamFault {
    #[error("line {line} too long")]
    LineTooLong { line: usize, limit: usize },
    #[error("zero byte in line {line}")]
    ZeroByte { line: usize },
    #[error("open quote in line {line}")]
    OpenQuote { line: usize },
    #[error("too much text in line {line}")]
    TooMuchText { line: usize, limit: u64 },
    #[error("damaged compressed stream: {0}")]
    Compressed(std::io::Error),
}

impl ReadError {
    /// An input error, with a fault of the reader chain given back its type.
    pub(super) fn from_io(path: &std::path::Path, error: std::io::Error) -> ReadError {
        let path = path.to_path_buf();
        if !error
            .get_ref()
            .is_some_and(|inner| inner.is::<StreamFault>())
        {
            return ReadError::Io {
                path,
                source: error,
            };
        }
        let kind = error.kind();
        match error
            .into_inner()
            .and_then(|inner| inner.downcast::<StreamFault>().ok())
        {
            Some(fault) => match *fault {
                StreamFault::LineTooLong { line, limit } => {
                    ReadError::LineTooLong { path, line, limit }
                }
                StreamFault::ZeroByte { line } => ReadError::ZeroByte { path, line },
                StreamFault::OpenQuote { line } => ReadError::OpenQuote { path, line },
                StreamFault::TooMuchText { line, limit } => {
                    ReadError::TooMuchText { path, line, limit }
                }
                StreamFault::Compressed(source) => ReadError::Compressed { path, source },
            },
            None => ReadError::Io {
                path,
                source: kind.into(),
            },
        }
    }
}
