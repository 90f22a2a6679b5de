//! How the layout of a file was recognised.

/// One rule that recognised something; the sentence comes by `Display`. Columns are counted from 1.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[allow(missing_docs, reason = "the text of a variant names its fields")]
#[non_exhaustive]
#[rustfmt::skip]
pub enum LayoutRule {
    #[error("the file is packed with gzip")]
    Packed,
    #[error("text is {encoding}: {}", sign)]
    Encoding { encoding: &'static str, sign: &'static str },
    #[error("text encoding as given")]
    EncodingGiven,
    #[error("names are read as {encoding}, as their bytes suggest; --encoding names another")]
    NamesEncoding { encoding: &'static str },
    #[error("names are read as Western European; --encoding names another")]
    NamesWestern,
    #[error("the names of the columns are in the rows themselves")]
    NamesInRows,
    #[error("{skipped} lines above the numbers, as given")]
    Skipped { skipped: usize },
    #[error("the field delimiter is {delimiter}, the decimal mark '{decimal}': {rows} rows of the head agree on it")]
    Dialect { delimiter: &'static str, decimal: char, rows: usize },
    #[error("{}", match (names, units) { (Some(n), Some(u)) => format!("names in line {n}, units in line {u}"), (Some(n), None) => format!("names in line {n}"), (None, Some(u)) => format!("units in line {u}, no names"), (None, None) => "no header: columns are named by their number".to_owned() })]
    Header { names: Option<usize>, units: Option<usize> },
    #[error("settings in {lines} lines beside the numbers")]
    SettingsBeside { lines: usize },
    #[error("{count} settings above the numbers")]
    SettingsAbove { count: usize },
    #[error("column {column} holds the unit of column {of}, {unit}")]
    UnitColumn { column: usize, of: usize, unit: String },
    #[error("the numbers of column {column} have another decimal mark than the others")]
    OtherMark { column: usize },
    #[error("column {column} holds text and is left out")]
    Text { column: usize },
    #[error("in column {column} a unit or prefix follows the numbers")]
    Quantities { column: usize },
    #[error(
        "column {column}{} holds {codes} and is left out; --hex-column {column} reads its codes as whole numbers",
        super::quoted(name)
    )]
    Codes { column: usize, name: Option<String>, codes: &'static str },
    #[error("column {column} is time, as given")]
    TimeGiven { column: usize },
    #[error("no column is time, as given")]
    NoTimeGiven,
    #[error("column {column} is time: {sign}")]
    Time { column: usize, sign: &'static str },
    #[error("column {column} is time again")]
    TimeAgain { column: usize },
    #[error("column {column} holds clock times or dates and is left out")]
    Clock { column: usize },
    #[error("column {column} counts the rows")]
    Count { column: usize },
    #[error("sampling interval {interval_s} s, as given")]
    IntervalGiven { interval_s: f64 },
    #[error("time is start + increment * count")]
    TimeByCount,
    #[error("time is {}", if *start_stated { "start + increment * row" } else { "increment * row, from 0: no start is stated" })]
    TimeByRow { start_stated: bool },
    /// A rule for one of several files joined to one record.
    #[error("{file}: {rule}")]
    OfFile { file: String, rule: Box<LayoutRule> },
}
