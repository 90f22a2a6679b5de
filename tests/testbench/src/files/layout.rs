//! Capture files in the layouts that oscilloscopes write, described by structure.

use crate::bench::{Trace, Waveform};
use std::fmt::Write as _;

/// Structure of a capture file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, serde::Serialize, serde::Deserialize)]
pub enum Layout {
    /// One header row, units in brackets; commas.
    HeaderWithUnits,
    /// Names in one row, bracketed units in the next, exponents, CR LF.
    TwoHeaderRows,
    /// Semicolons, decimal comma, an empty row after the header.
    DecimalComma,
    /// Key and value rows above a header.
    PreambleAbove,
    /// Key and value to the left of the numbers, no header.
    PreambleBeside,
    /// No time column: first time and increment stand in the header.
    StartAndIncrement,
    /// Tabs, quantity and unit with a slash, exponents.
    Tabs,
    /// Milliseconds and milliamperes, units in a row of their own, an empty row before the numbers.
    Milli,
}

impl Layout {
    pub const ALL: [Layout; 8] = [
        Layout::HeaderWithUnits,
        Layout::PreambleAbove,
        Layout::TwoHeaderRows,
        Layout::StartAndIncrement,
        Layout::DecimalComma,
        Layout::PreambleBeside,
        Layout::Tabs,
        Layout::Milli,
    ];

    /// Extension the files of this layout carry.
    pub fn extension(self) -> &'static str {
        match self {
            Layout::Tabs => "tsv",
            _ => "csv",
        }
    }

    /// The text of `waveform`; `scales` are volts and amperes per division.
    pub(crate) fn text(self, waveform: &Waveform, scales: (f64, f64)) -> String {
        let voltage = waveform
            .voltage_v
            .as_ref()
            .map(|trace| Column::new(trace, "CH1", "V", scales.0));
        let current = Column::new(&waveform.current_a, "CH2", "A", scales.1);
        let table = Table {
            start_s: waveform.start_s,
            step_s: waveform.step_s,
            rows: waveform.rows(),
            columns: voltage.into_iter().chain([current]).collect(),
        };
        match self {
            Layout::HeaderWithUnits => table.header_with_units(),
            Layout::TwoHeaderRows => table.two_header_rows(),
            Layout::DecimalComma => table.decimal_comma(),
            Layout::PreambleAbove => table.preamble_above(),
            Layout::PreambleBeside => table.preamble_beside(),
            Layout::StartAndIncrement => table.start_and_increment(),
            Layout::Tabs => table.tabs(),
            Layout::Milli => table.milli(),
        }
    }
}

struct Column<'a> {
    trace: &'a Trace,
    name: &'static str,
    unit: &'static str,
    scale: f64,
}

impl<'a> Column<'a> {
    fn new(trace: &'a Trace, name: &'static str, unit: &'static str, scale: f64) -> Self {
        Column {
            trace,
            name,
            unit,
            scale,
        }
    }

    /// Decimals that keep a converter's step apart from its neighbours, in units of `unit`.
    fn decimals(&self, unit: f64) -> usize {
        decimals(self.trace.step / unit, 2.0)
    }
}

/// Decimals with which `step` is written to one part in 10^`digits`.
fn decimals(step: f64, digits: f64) -> usize {
    (digits - libm::floor(libm::log10(step))).clamp(0.0, 15.0) as usize
}

struct Table<'a> {
    start_s: f64,
    step_s: f64,
    rows: usize,
    columns: Vec<Column<'a>>,
}

impl Table<'_> {
    fn time(&self, row: usize) -> f64 {
        self.start_s + row as f64 * self.step_s
    }

    fn time_decimals(&self, unit: f64) -> usize {
        decimals(self.step_s / unit, 1.0)
    }

    /// Rows of numbers, time first; in milliseconds and milliamperes where `milli` says so.
    fn rows(&self, delimiter: &str, end: &str, milli: bool) -> String {
        let mut text = String::with_capacity(self.rows * 40);
        let time_unit = if milli { 1e-3 } else { 1.0 };
        let time_decimals = self.time_decimals(time_unit);
        let columns: Vec<(&[f64], f64, usize)> = self
            .columns
            .iter()
            .map(|column| {
                let unit = if milli && column.unit == "A" {
                    1e-3
                } else {
                    1.0
                };
                (column.trace.values.as_slice(), unit, column.decimals(unit))
            })
            .collect();
        for row in 0..self.rows {
            // Writing to a String cannot fail.
            let _ = write!(text, "{:.*}", time_decimals, self.time(row) / time_unit);
            for (values, unit, decimals) in &columns {
                let value = values[row] / unit;
                let _ = write!(text, "{delimiter}{value:.*}", decimals);
            }
            text.push_str(end);
        }
        text
    }

    fn header(&self, delimiter: &str, time: &str, of: impl Fn(&Column<'_>) -> String) -> String {
        let mut cells = vec![time.to_owned()];
        cells.extend(self.columns.iter().map(of));
        cells.join(delimiter)
    }

    fn header_with_units(&self) -> String {
        let header = self.header(",", "Time (s)", |c| format!("{} ({})", c.name, c.unit));
        format!("{header}\n{}", self.rows(",", "\n", false))
    }

    fn two_header_rows(&self) -> String {
        let names = self.header(",", "Time", |c| c.name.to_owned());
        let units = self.header(",", "(s)", |c| format!("({})", c.unit));
        let mut text = format!("{names}\r\n{units}\r\n");
        for row in 0..self.rows {
            let _ = write!(text, "{:.9E}", self.time(row));
            for column in &self.columns {
                let _ = write!(text, ",{:.9E}", column.trace.values[row]);
            }
            text.push_str("\r\n");
        }
        text
    }

    fn decimal_comma(&self) -> String {
        let header = self.header(";", "Zeit (s)", |c| format!("{} ({})", c.name, c.unit));
        let rows = self.rows(";", "\r\n", false).replace('.', ",");
        format!("{header}\r\n\r\n{rows}")
    }

    fn preamble(&self) -> Vec<(String, String)> {
        let trigger = (-self.start_s / self.step_s).round();
        let span = self.step_s * self.rows as f64;
        let mut pairs = vec![
            ("Record Length".to_owned(), self.rows.to_string()),
            ("Sample Interval".to_owned(), format!("{:E}", self.step_s)),
            ("Trigger Point".to_owned(), format!("{trigger}")),
            ("Horizontal Units".to_owned(), "s".to_owned()),
            ("Horizontal Scale".to_owned(), format!("{:E}", span / 10.0)),
        ];
        for (index, column) in self.columns.iter().enumerate() {
            let number = index + 1;
            pairs.push((format!("Source {number}"), column.name.to_owned()));
            pairs.push((format!("Vertical Units {number}"), column.unit.to_owned()));
            pairs.push((
                format!("Vertical Scale {number}"),
                format!("{:E}", column.scale),
            ));
        }
        pairs
    }

    fn preamble_above(&self) -> String {
        let mut text = String::new();
        for (key, value) in self.preamble() {
            let _ = writeln!(text, "{key},{value}");
        }
        text + &self.header_with_units()
    }

    fn preamble_beside(&self) -> String {
        let preamble = self.preamble();
        let numbers = self.rows(",", ",\r\n", false);
        let mut text = String::with_capacity(numbers.len() + 5 * self.rows);
        for (row, line) in numbers.split_inclusive('\n').enumerate() {
            match preamble.get(row) {
                Some((key, value)) => {
                    let _ = write!(text, "{key},{value},,");
                }
                None => text.push_str(",,,"),
            }
            text.push_str(line);
        }
        text
    }

    fn start_and_increment(&self) -> String {
        let names = self.header(",", "X", |c| c.name.to_owned());
        let units = self.header(",", "Sequence", |c| c.unit.to_owned());
        let mut text = format!(
            "{names},Start,Increment,\n{units},{:E},{:E},\n",
            self.start_s, self.step_s
        );
        for row in 0..self.rows {
            let _ = write!(text, "{row}");
            for column in &self.columns {
                let value = column.trace.values[row];
                let _ = write!(text, ",{value:.*}", column.decimals(1.0));
            }
            text.push_str(",\n");
        }
        text
    }

    fn tabs(&self) -> String {
        let header = self.header("\t", "time/s", |c| format!("{}/{}", c.name, c.unit));
        let mut text = format!("{header}\n");
        for row in 0..self.rows {
            let _ = write!(text, "{:.9e}", self.time(row));
            for column in &self.columns {
                let _ = write!(text, "\t{:.9e}", column.trace.values[row]);
            }
            text.push('\n');
        }
        text
    }

    fn milli(&self) -> String {
        let names = self.header(",", "Time", |c| c.name.to_owned());
        let units = self.header(",", "(ms)", |c| {
            format!("({})", if c.unit == "A" { "mA" } else { "V" })
        });
        format!("{names}\n{units}\n\n{}", self.rows(",", "\n", true))
    }
}
