//! What an importer keeps of a file.

use super::warnings::Warning;
use std::path::PathBuf;

/// The times of the rows of a record, kept at full resolution.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeAxis {
    /// Row `k` stands at `start_s + k * step_s`; `k` counts from 0 to `len - 1`.
    Uniform {
        start_s: f64,
        step_s: f64,
        len: usize,
    },
    /// Strictly increasing times in seconds, one a row.
    Listed(Vec<f64>),
    /// The file says nothing of time; `len` rows.
    Absent { len: usize },
}

impl TimeAxis {
    /// Number of rows.
    pub fn len(&self) -> usize {
        match self {
            TimeAxis::Uniform { len, .. } | TimeAxis::Absent { len } => *len,
            TimeAxis::Listed(times) => times.len(),
        }
    }

    /// True when there is no row.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// Time of row `row` in seconds; `None` when time is absent or the row is outside.
    pub fn at(&self, row: usize) -> Option<f64> {
        match self {
            TimeAxis::Uniform {
                start_s,
                step_s,
                len,
            } => (row < *len).then(|| start_s + row as f64 * step_s),
            TimeAxis::Listed(times) => times.get(row).copied(),
            TimeAxis::Absent { .. } => None,
        }
    }
}

/// One key and value read from a preamble, kept as written.
#[derive(Clone, Debug, PartialEq)]
pub struct PreambleFact {
    /// 1-based line.
    pub line: usize,
    pub key: String,
    /// One value, or one a channel.
    pub values: Vec<String>,
}

/// What a preamble says of one channel. Absent is unknown.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ChannelFacts {
    pub probe_ratio: Option<f64>,
    /// In the channel's SI unit per division.
    pub vertical_scale_per_division: Option<f64>,
    pub vertical_offset: Option<f64>,
    /// As written, e.g. `DC`, `AC`.
    pub coupling: Option<String>,
    pub inverted: Option<bool>,
}

/// One column of numbers.
#[derive(Clone, Debug, PartialEq)]
pub struct Channel {
    /// Name as written in the file, or `column N` where the file has none.
    pub name: String,
    /// 1-based column in the file.
    pub column: usize,
    /// Unit as written in the file; `None` where it states none.
    pub unit_text: Option<String>,
    /// SI unit of `values` (`V`, `A`, ...), after the prefix was applied; `None` where unknown.
    pub unit: Option<String>,
    /// One value a row in the SI unit; `NaN` where the cell is missing.
    pub values: Vec<f64>,
    /// Number of missing cells (blank, not-a-number, overrange marks).
    pub missing: usize,
    /// Rows whose cell was an overrange mark (`inf`, `OL`, ...), with the sign of the mark.
    pub overrange: Vec<(usize, bool)>,
    pub facts: ChannelFacts,
}

/// A file as read.
#[derive(Clone, Debug, PartialEq)]
pub struct Record {
    pub path: PathBuf,
    /// How the layout was recognised, one sentence a rule, for `rundown look`.
    pub layout: Vec<String>,
    pub preamble: Vec<PreambleFact>,
    pub time: TimeAxis,
    /// Name of the time column, where the file has one.
    pub time_name: Option<String>,
    /// 1-based line of the first row of numbers.
    pub first_data_line: usize,
    pub channels: Vec<Channel>,
    pub warnings: Vec<Warning>,
    /// SHA-256 of the file's bytes as they lie on disk, in lower-case hex.
    pub sha256: String,
}
