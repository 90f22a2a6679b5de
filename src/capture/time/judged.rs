//! What is known of a time column beside its numbers, and what the column came to.

use super::fault::TimeFault;
use crate::capture::options::TimeGaps;
use crate::capture::record::TimeAxis;

/// What a time column came to.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Judged {
    pub axis: TimeAxis,
    /// Rows kept, in order; `None` keeps all.
    pub kept: Option<Vec<usize>>,
    pub faults: Vec<TimeFault>,
}

/// What is known of a time column beside its numbers.
#[derive(Clone, Copy)]
pub(super) struct Context<'a> {
    /// Most significant digits printed.
    pub digits: u32,
    /// Sampling interval the preamble states, in the unit of the file; taken only where the times fit it.
    pub preferred: Option<f64>,
    /// From the unit of the file to seconds.
    pub to_si: &'a dyn Fn(f64) -> f64,
    pub gaps: TimeGaps,
}
