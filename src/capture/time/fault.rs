//! Where the times of a record do not run on evenly.

use super::backwards::BackwardsPattern;

/// Where time does not run on evenly. Times in seconds, rows 0-based.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub enum TimeFault {
    /// Printed with too few digits: many rows share one time; `step_s` is what the record implies.
    Coarse {
        row: usize,
        time_s: f64,
        repeats: usize,
        rows: usize,
        step_s: f64,
        resolution_s: f64,
    },
    /// Duplicate timestamps; the later rows are left out.
    Repeated {
        row: usize,
        time_s: f64,
        places: usize,
    },
    Gap {
        row: usize,
        from_s: f64,
        to_s: f64,
        missing: f64,
        places: usize,
    },
    Backwards {
        row: usize,
        from_s: f64,
        to_s: f64,
        places: usize,
        pattern: BackwardsPattern,
    },
    /// Every time occurs twice, as where the least and the largest sample of each interval are written; the second of
    /// two rows is placed half a step later.
    Pairs { step_s: f64 },
    /// Many rows share a time with others; they are spread evenly up to the next time.
    Spread {
        row: usize,
        time_s: f64,
        places: usize,
    },
    /// The rows were put in the order of their times.
    Sorted { places: usize },
    Uneven {
        median_s: f64,
        least_s: f64,
        most_s: f64,
    },
    /// Only a stretch was kept.
    Cut {
        first: usize,
        end: usize,
        rows: usize,
    },
}
