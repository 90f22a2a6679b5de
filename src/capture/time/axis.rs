//! The time axis of a record: as given by the user, from the time column, or from start and increment.

use super::column::TimeColumn;
use super::judge;
use super::judged::{Context, Judged, TimeFault};
use crate::capture::read::options::TimeGaps;
use crate::capture::record::TimeAxis;
use crate::capture::wording::{LayoutRule, WarningKind};
use crate::quantity::exported::Unit;

/// What is known of the times beside their column.
#[derive(Clone, Copy, Debug)]
pub struct TimeFacts {
    /// Number of rows.
    pub rows: usize,
    /// The column only counts the rows.
    pub counted: bool,
    /// Unit of the column; `None` is seconds.
    pub unit: Option<Unit>,
    /// As the user gives them.
    pub given_interval_s: Option<f64>,
    pub given_start_s: Option<f64>,
    /// As the preamble states them.
    pub stated_interval_s: Option<f64>,
    pub stated_start_s: Option<f64>,
    pub gaps: TimeGaps,
}

/// The axis and how it was found.
#[derive(Clone, Debug, PartialEq)]
pub struct FoundAxis {
    pub axis: TimeAxis,
    /// Rows kept, in order; `None` keeps all.
    pub kept: Option<Vec<usize>>,
    pub faults: Vec<TimeFault>,
    /// Where the times do not simply stand in their column.
    pub how: Option<LayoutRule>,
    /// Median step of a column of times, where the preamble states one to compare it with.
    pub typical_step_s: Option<f64>,
}

impl FoundAxis {
    fn new(axis: TimeAxis, how: Option<LayoutRule>) -> FoundAxis {
        FoundAxis {
            axis,
            kept: None,
            faults: Vec::new(),
            how,
            typical_step_s: None,
        }
    }
}

impl TimeFacts {
    fn interval_s(&self) -> Option<f64> {
        self.given_interval_s.or(self.stated_interval_s)
    }

    fn start_s(&self) -> Option<f64> {
        self.given_start_s.or(self.stated_start_s)
    }

    /// True where the times of `column` say more than the number of rows does.
    pub fn takes(&self, column: &TimeColumn) -> bool {
        column.is_filled() && (!self.counted || self.interval_s().is_some())
    }

    /// The axis from a column without missing times, or from start and increment.
    pub fn axis(&self, column: Option<&TimeColumn>) -> FoundAxis {
        match (column, self.given_interval_s) {
            (Some(column), Some(step_s)) if !self.counted => self.by_given_interval(column, step_s),
            (Some(column), _) => self.by_column(column),
            (None, _) => self.by_increment(),
        }
    }

    /// `first` is the first count of the rows: one that begins at 1 has the start there, any other at 0.
    fn to_si(self, time: f64, first: Option<f64>) -> f64 {
        match (self.counted, self.interval_s()) {
            // Counts come here as whole numbers: start + increment * (count - first count).
            (true, Some(interval)) => {
                let base = first.filter(|first| *first == 1.0).unwrap_or(0.0);
                self.start_s().unwrap_or(0.0) + interval * (time - base)
            }
            _ => self.unit.map_or(time, |unit| unit.to_si(time)),
        }
    }

    fn by_given_interval(&self, column: &TimeColumn, step_s: f64) -> FoundAxis {
        let times = column.times();
        let first = || self.to_si(times.first().unwrap_or(0.0), None);
        let axis = TimeAxis::Uniform {
            start_s: self.given_start_s.unwrap_or_else(first),
            step_s,
            len: times.len(),
        };
        let interval_s = step_s;
        FoundAxis::new(axis, Some(LayoutRule::IntervalGiven { interval_s }))
    }

    fn by_column(&self, column: &TimeColumn) -> FoundAxis {
        let scale = self.unit.map_or(1.0, |unit| unit.to_si(1.0));
        let stated = self.interval_s().filter(|_| !self.counted);
        let first = column.times().first();
        let Judged {
            mut axis,
            kept,
            faults,
        } = judge::judge(
            column.times(),
            Context {
                // Counts are whole numbers and exact.
                digits: if self.counted { 17 } else { column.digits() },
                preferred: stated.map(|interval| interval / scale),
                to_si: &|time| self.to_si(time, first),
                gaps: self.gaps,
            },
        );
        let is_uneven = |f: &TimeFault| matches!(f.kind, Ok(WarningKind::TimeUneven { .. }));
        let uneven = faults.iter().any(is_uneven);
        let comparable = !self.counted && !uneven && self.stated_interval_s.is_some();
        let typical_step_s = comparable.then(|| typical_step(&axis)).flatten();
        let mut how = None;
        if self.counted {
            if let (TimeAxis::Uniform { step_s, .. }, Some(interval)) =
                (&mut axis, self.interval_s())
            {
                // The step went through `to_si`, which adds the origin.
                *step_s = interval;
                how = Some(LayoutRule::TimeByCount);
            }
        } else if let Some(start) = self.given_start_s {
            shift(&mut axis, start);
        }
        FoundAxis {
            axis,
            kept,
            faults,
            how,
            typical_step_s,
        }
    }

    fn by_increment(&self) -> FoundAxis {
        let Some(step_s) = self.interval_s() else {
            return FoundAxis::new(TimeAxis::Absent { len: self.rows }, None);
        };
        let how = LayoutRule::TimeByRow {
            start_stated: self.start_s().is_some(),
        };
        let axis = TimeAxis::Uniform {
            start_s: self.start_s().unwrap_or(0.0),
            step_s,
            len: self.rows,
        };
        FoundAxis::new(axis, Some(how))
    }
}

/// Median step of the axis.
fn typical_step(axis: &TimeAxis) -> Option<f64> {
    match axis {
        TimeAxis::Uniform { step_s, .. } => Some(*step_s),
        TimeAxis::Listed(times) if times.len() > 1 => {
            let mut steps: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
            let middle = steps.len() / 2;
            Some(*steps.select_nth_unstable_by(middle, f64::total_cmp).1)
        }
        _ => None,
    }
}

/// Moves the axis so that its first row is at `start`, s.
pub fn shift(axis: &mut TimeAxis, start: f64) {
    match axis {
        TimeAxis::Uniform { start_s, .. } => *start_s = start,
        TimeAxis::Listed(times) => {
            let by = start - times.first().copied().unwrap_or(start);
            times.iter_mut().for_each(|t| *t += by);
        }
        TimeAxis::Absent { .. } => {}
    }
}
