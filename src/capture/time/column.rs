//! The column of times as it is read.

use super::chunk::TimeChunk;
use super::times::Times;
use crate::capture::cell::{self, Cell};

/// Times of the rows, in the unit of the file: those of the first rows by chunks, then one by one.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct TimeColumn {
    /// 0-based column in the file.
    pub column: usize,
    /// Most significant digits printed.
    pub digits: u32,
    /// Rows without a time.
    pub missing: usize,
    chunks: Vec<TimeChunk>,
    rest: Vec<f64>,
}

impl TimeColumn {
    pub fn new(column: usize) -> TimeColumn {
        TimeColumn {
            column,
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
        let time = match cell::parse(text, decimal) {
            Cell::Number(time) => time,
            _ => {
                self.missing += 1;
                f64::NAN
            }
        };
        self.digits = self.digits.max(cell::significant_digits(text));
        self.rest.push(time);
        time
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
