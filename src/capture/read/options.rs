//! Overrides of what the importer finds by itself. The default finds everything.

/// What to do where time does not run on evenly.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum TimeGaps {
    /// A gap is kept, with a warning; time running backwards is an error.
    #[default]
    Keep,
    /// Keep only the longest stretch in which time increases without a gap.
    Split,
    /// Put the rows in the order of their times.
    Sort,
}

/// Bytes of unpacked text that are not held against the packed ones.
pub const UNPACK_FREE_BYTES: u64 = 64 << 20;

/// Bounds on what a file may cost; beyond them reading stops with a clear error.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Limits {
    /// Bytes of one line of text.
    pub line_bytes: usize,
    /// Columns of the table.
    pub columns: usize,
    /// Numbers kept, over all columns.
    pub numbers: usize,
    /// Bytes of text after unpacking.
    pub text_bytes: u64,
    /// Bytes of text that one packed byte may give, once `UNPACK_FREE_BYTES` are unpacked. Exported samples give
    /// up to some twenty; gzip can give 1032.
    pub unpack_ratio: u64,
}

impl Default for Limits {
    fn default() -> Limits {
        Limits {
            line_bytes: 1 << 20,
            columns: 1024,
            numbers: 250_000_000,
            text_bytes: 8 << 30,
            unpack_ratio: 200,
        }
    }
}

/// One override for each rule of the importer; `None` or empty leaves the rule to find its answer.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ReadOptions {
    /// One of `,` `;` tab `|`, or a space for runs of spaces.
    pub delimiter: Option<u8>,
    /// `.` or `,`.
    pub decimal: Option<u8>,
    /// Label of the text encoding, e.g. `utf-8`, `utf-16le`, `windows-1252`.
    pub encoding: Option<String>,
    /// Lines above the first row of numbers.
    pub skip_lines: Option<usize>,
    /// How many of the lines directly above the numbers hold names and units: 0, 1 (names) or 2 (names, units).
    pub header_rows: Option<usize>,
    /// 1-based column of time; 0 says that no column is time.
    pub time_column: Option<usize>,
    /// Sampling interval in seconds; wins over the file.
    pub interval_s: Option<f64>,
    /// Time of the first row in seconds; wins over the file.
    pub start_s: Option<f64>,
    /// Unit as text for a 1-based column, e.g. `(2, "mA")`; wins over the file.
    pub units: Vec<(usize, String)>,
    /// 1-based columns whose cells are hexadecimal codes, read as whole numbers.
    pub hex_columns: Vec<usize>,
    /// Treatment of gaps and steps back in the time column.
    pub time_gaps: TimeGaps,
    /// Whether columns of the least and the largest value of a channel stay channels of their own.
    pub envelope_columns: bool,
    /// Limits on the size of the input.
    pub limits: Limits,
    /// Bytes of a chunk of text, where the table is regular; 0 reads all rows one by one. The
    /// result is the same.
    pub chunk_bytes: Option<usize>,
}
