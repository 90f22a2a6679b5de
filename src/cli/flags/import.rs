//! Overrides of the importer as command-line flags, shared by all commands that read captures.

use clap::{Args, ValueEnum};
use rundown::capture::{self, Limits, ReadOptions, TimeGaps};

/// How to read the files, where the program should not find it by itself.
#[derive(Args, Clone, Debug, Default)]
#[command(next_help_heading = "Reading of captures")]
pub struct ImportFlags {
    /// Field delimiter
    #[arg(long, value_enum)]
    delimiter: Option<Delimiter>,
    /// Decimal mark
    #[arg(long, value_enum)]
    decimal: Option<Decimal>,
    /// Text encoding, e.g. utf-8, utf-16le, windows-1252
    #[arg(long, value_name = "LABEL")]
    encoding: Option<String>,
    /// Lines above the first row of numbers
    #[arg(long, value_name = "COUNT")]
    skip_lines: Option<usize>,
    /// Header lines directly above the numbers: 0, 1 (names) or 2 (names and units)
    #[arg(long, value_name = "COUNT", value_parser = clap::value_parser!(u8).range(0..=2))]
    header_rows: Option<u8>,
    /// Column of time, from 1; 0 when there is none
    #[arg(long, value_name = "COLUMN")]
    time_column: Option<usize>,
    /// Sampling interval, e.g. 80us or 8e-5 (s); replaces that of the file
    #[arg(long, value_name = "TIME", value_parser = seconds)]
    interval: Option<f64>,
    /// Time of the first row, e.g. -1.2ms; replaces that of the file
    #[arg(long, value_name = "TIME", value_parser = seconds, allow_hyphen_values = true)]
    first_time: Option<f64>,
    /// Unit of a column, from 1, e.g. 2=mA; repeatable
    #[arg(long = "unit", value_name = "COLUMN=UNIT", value_parser = column_unit)]
    units: Vec<(usize, String)>,
    /// Column of hexadecimal codes, from 1, to be read as whole numbers; repeatable
    #[arg(long = "hex-column", value_name = "COLUMN")]
    hex_columns: Vec<usize>,
    /// Where time jumps: warn, keep the longest stretch without a gap (split), or sort the rows by time (sort)
    #[arg(long, value_enum, default_value = "warn")]
    time_gaps: Gaps,
    /// Read columns of the least and the largest value of a channel (peak detection) as channels of their own
    #[arg(long)]
    envelope_columns: bool,
    /// Longest line read, in bytes
    #[arg(long, value_name = "BYTES", hide_short_help = true)]
    max_line_bytes: Option<usize>,
    /// Most columns read
    #[arg(long, value_name = "COUNT", hide_short_help = true)]
    max_columns: Option<usize>,
    /// Most numbers kept, over all columns
    #[arg(long, value_name = "COUNT", hide_short_help = true)]
    max_numbers: Option<usize>,
    /// Most bytes of text read, after unpacking
    #[arg(long, value_name = "BYTES", hide_short_help = true)]
    max_text_bytes: Option<u64>,
    /// Largest unpacking ratio
    #[arg(long, value_name = "COUNT", hide_short_help = true)]
    max_unpack_ratio: Option<u64>,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Delimiter {
    Comma,
    Semicolon,
    Tab,
    Pipe,
    Space,
}

#[derive(Clone, Copy, Debug, ValueEnum)]
enum Decimal {
    Point,
    Comma,
}

#[derive(Clone, Copy, Debug, Default, ValueEnum)]
enum Gaps {
    #[default]
    Warn,
    Split,
    Sort,
}

fn seconds(text: &str) -> Result<f64, String> {
    capture::parse_seconds(text).ok_or_else(|| {
        format!("\"{text}\" is no time; expected a number with s, ms, us or ns, e.g. 80us")
    })
}

fn column_unit(text: &str) -> Result<(usize, String), String> {
    let (column, unit) = text
        .split_once('=')
        .ok_or_else(|| format!("\"{text}\" is not COLUMN=UNIT, e.g. 2=mA"))?;
    match column.trim().parse() {
        Ok(column) if column > 0 => Ok((column, unit.trim().to_string())),
        _ => Err(format!("\"{column}\" is no column number from 1")),
    }
}

impl ImportFlags {
    /// True when any was given.
    pub fn given(&self) -> bool {
        self.options() != ReadOptions::default()
    }

    /// The options of the importer that these flags ask for.
    pub fn options(&self) -> ReadOptions {
        let limits = Limits::default();
        ReadOptions {
            delimiter: self.delimiter.map(|d| match d {
                Delimiter::Comma => b',',
                Delimiter::Semicolon => b';',
                Delimiter::Tab => b'\t',
                Delimiter::Pipe => b'|',
                Delimiter::Space => b' ',
            }),
            decimal: self.decimal.map(|d| match d {
                Decimal::Point => b'.',
                Decimal::Comma => b',',
            }),
            encoding: self.encoding.clone(),
            skip_lines: self.skip_lines,
            header_rows: self.header_rows.map(usize::from),
            time_column: self.time_column,
            interval_s: self.interval,
            start_s: self.first_time,
            units: self.units.clone(),
            hex_columns: self.hex_columns.clone(),
            time_gaps: match self.time_gaps {
                Gaps::Warn => TimeGaps::Keep,
                Gaps::Split => TimeGaps::Split,
                Gaps::Sort => TimeGaps::Sort,
            },
            envelope_columns: self.envelope_columns,
            limits: Limits {
                line_bytes: self.max_line_bytes.unwrap_or(limits.line_bytes),
                columns: self.max_columns.unwrap_or(limits.columns),
                numbers: self.max_numbers.unwrap_or(limits.numbers),
                text_bytes: self.max_text_bytes.unwrap_or(limits.text_bytes),
                unpack_ratio: self.max_unpack_ratio.unwrap_or(limits.unpack_ratio),
            },
            ..ReadOptions::default()
        }
    }
}
