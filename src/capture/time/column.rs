//! The column of times as it is read.

use super::chunk::TimeChunk;
use super::times::Times;
use crate::capture::cell::clock::{self, Clock, DAY_S};
use crate::capture::cell::{self, Cell};
use crate::capture::layout::Cells;

/// Times of the rows, in the unit of the file: those of the first rows by chunks, then one by one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeColumn {
    /// 0-based column in the file.
    pub column: usize,
    /// How its cells are read. Clock times count from the first row, in seconds.
    pub cells: Cells,
    /// Most significant digits printed.
    digits: u32,
    /// The first clock time, and the last before the present row.
    clock: Option<(Clock, f64)>,
    /// Rows without a time.
    pub missing: usize,
    chunks: Vec<TimeChunk>,
    rest: Vec<f64>,
}

impl TimeColumn {
    pub fn new(column: usize, cells: Cells) -> TimeColumn {
        TimeColumn {
            column,
            cells,
            ..TimeColumn::default()
        }
    }

    /// Keeps a whole chunk, before any single time is kept.
    pub fn push_chunk(&mut self, chunk: TimeChunk, digits: u32) {
        self.chunks.push(chunk);
        self.digits = self.digits.max(digits);
    }

    /// Keeps the time of one row; gives it, or `NaN` where the cell holds none.
    pub fn push(&mut self, text: &[u8], decimal: u8) -> f64 {
        let decimal = self.cells.mark(decimal);
        let time = match (self.cells, cell::parse(text, decimal)) {
            (Cells::Clock, _) => {
                clock::parse(cell::trim(text)).map(|clock| self.since_first(clock))
            }
            (_, Cell::Number(time)) => Some(time),
            (Cells::Quantities, Cell::Quantity(time, _)) => Some(time),
            _ => None,
        };
        self.missing += usize::from(time.is_none());
        if self.cells != Cells::Clock {
            self.digits = self.digits.max(cell::significant_digits(text));
        }
        let time = time.unwrap_or(f64::NAN);
        self.rest.push(time);
        time
    }

    /// Seconds since the first clock time. A clock without a date that falls back by more than half a day has passed midnight.
    fn since_first(&mut self, clock: Clock) -> f64 {
        let (first, before) = *self.clock.get_or_insert((clock, 0.0));
        let days = match (clock.day, first.day) {
            (Some(day), Some(first)) => (day - first) as f64,
            _ => 0.0,
        };
        // Differences of printed decimals, so that they stay decimals.
        let unit = 10f64.powi(clock.decimals.max(first.decimals));
        let seconds = ((clock.second - first.second) * unit).round() / unit;
        let mut time = days * DAY_S + seconds;
        if clock.day.is_none() && time < before - 0.5 * DAY_S {
            time += DAY_S * ((before - time) / DAY_S).round().max(1.0);
        }
        let decimals = first.decimals.max(clock.decimals);
        self.clock = Some((Clock { decimals, ..first }, time));
        time
    }

    /// Most significant digits printed of the times; of clock times those that the longest has.
    pub fn digits(&self) -> u32 {
        match (
            self.clock,
            self.rest.iter().copied().map(f64::abs).reduce(f64::max),
        ) {
            (Some((first, _)), Some(longest)) if longest > 0.0 => {
                (longest.log10().floor() as i32 + 1 + first.decimals).max(1) as u32
            }
            (Some(_), _) => 0,
            (None, _) => self.digits,
        }
    }

    /// Takes the last row away.
    pub fn pop(&mut self) {
        if self.rest.is_empty() {
            self.rest = self.times().to_vec();
            self.chunks.clear();
        }
        self.rest.pop();
    }

    pub fn times(&self) -> Times<'_> {
        Times::new(&self.chunks, &self.rest)
    }

    /// True where at least one row has a time.
    pub fn is_filled(&self) -> bool {
        !self.chunks.is_empty() || self.rest.iter().any(|t| t.is_finite())
    }

    /// Leaves out the rows without a time; gives those that are kept.
    pub fn keep_finite(&mut self) -> Vec<usize> {
        let times = self.times().to_vec();
        let kept: Vec<usize> = (0..times.len()).filter(|&k| times[k].is_finite()).collect();
        self.rest = kept.iter().map(|&k| times[k]).collect();
        self.chunks.clear();
        self.missing = 0;
        kept
    }
}
