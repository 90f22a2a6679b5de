//! What an importer keeps of a file.

pub mod error;
pub mod warnings;

pub use error::ReadError;
pub use warnings::Warning;

use crate::capture::wording::LayoutRule;
use std::path::PathBuf;

/// The times of the rows of a record, kept at full resolution.
#[derive(Clone, Debug, PartialEq)]
pub enum TimeAxis {
    /// Row `k` stands at `start_s + k * step_s`; `k` counts from 0 to `len - 1`.
    Uniform {
        /// Time of row 0, s.
        start_s: f64,
        /// Sampling interval, s.
        step_s: f64,
        /// Number of rows.
        len: usize,
    },
    /// Strictly increasing times in seconds, one a row.
    Listed(Vec<f64>),
    /// The file says nothing of time; `len` rows.
    Absent {
        /// Number of rows.
        len: usize,
    },
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
#[non_exhaustive]
pub struct PreambleFact {
    /// 1-based line.
    pub line: usize,
    /// The key as written.
    pub key: String,
    /// One value, or one a channel.
    pub values: Vec<String>,
}

/// What a preamble says of one channel. Absent is unknown.
#[derive(Clone, Debug, Default, PartialEq)]
#[non_exhaustive]
pub struct ChannelFacts {
    /// Attenuation of the probe: input over output.
    pub probe_ratio: Option<f64>,
    /// In the channel's SI unit per division.
    pub vertical_scale_per_division: Option<f64>,
    /// Vertical offset, in the channel's SI unit.
    pub vertical_offset: Option<f64>,
    /// Stated size of a converter's step, where the numbers are whole and so may be its codes.
    pub code_step: Option<f64>,
    /// As written, e.g. `DC`, `AC`.
    pub coupling: Option<String>,
    /// True where the oscilloscope inverted the channel.
    pub inverted: Option<bool>,
}

/// One column of numbers.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
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
    /// What the preamble says of this channel.
    pub facts: ChannelFacts,
}

/// A file as read.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Record {
    /// The file read.
    pub path: PathBuf,
    /// How the layout was recognised, for `rundown look`.
    pub layout: Vec<LayoutRule>,
    /// Keys and values above the table.
    pub preamble: Vec<PreambleFact>,
    /// Times of the rows.
    pub time: TimeAxis,
    /// Name of the time column, where the file has one.
    pub time_name: Option<String>,
    /// 1-based line of the first row of numbers.
    pub first_data_line: usize,
    /// Columns of numbers, without the time column, in the order of the file.
    pub channels: Vec<Channel>,
    /// Faults that did not stop the reading.
    pub warnings: Vec<Warning>,
    /// Further files whose channels were joined to those of `path`, each with the SHA-256 of its bytes.
    pub parts: Vec<(PathBuf, String)>,
    /// SHA-256 of the file's bytes as they lie on disk, in lower-case hex.
    pub sha256: String,
}
