//! What is known of a column of times beside its numbers, and what it came to: an axis, and where time does not run on evenly.

use crate::capture::read::options::TimeGaps;
use crate::capture::record::TimeAxis;
use crate::capture::wording::{ReadErrorKind, WarningKind};

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

/// Where time does not run on evenly.
#[derive(Clone, Debug, PartialEq)]
pub struct TimeFault {
    /// 0-based row, where it has a place.
    pub row: Option<usize>,
    /// An error where the record cannot be read so.
    pub kind: Result<WarningKind, Box<ReadErrorKind>>,
}

impl TimeFault {
    pub(super) fn new(row: impl Into<Option<usize>>, kind: WarningKind) -> TimeFault {
        TimeFault {
            row: row.into(),
            kind: Ok(kind),
        }
    }
}
