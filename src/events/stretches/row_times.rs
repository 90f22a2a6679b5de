//! The times of some rows of a capture, without a copy of them.

use crate::capture::TimeAxis;
use std::ops::Range;

/// Times in s, one a row.
#[derive(Clone, Copy, Debug)]
pub enum RowTimes<'a> {
    /// As they are listed.
    Listed(&'a [f64]),
    /// Rows `first .. first + len` of an even time axis, each at `start_s + row · step_s`.
    Even {
        /// Time of row 0 of the axis, s.
        start_s: f64,
        /// Sampling interval, s.
        step_s: f64,
        /// Row of the axis at which these rows begin.
        first: usize,
        /// Number of rows.
        len: usize,
    },
}

impl<'a> RowTimes<'a> {
    /// Those of some rows of a time axis, as [`TimeAxis::at`] has them; `None` where it does not have them all.
    pub fn of(time: &'a TimeAxis, rows: Range<usize>) -> Option<RowTimes<'a>> {
        match time {
            TimeAxis::Listed(times) => times.get(rows).map(RowTimes::Listed),
            TimeAxis::Uniform {
                start_s,
                step_s,
                len,
            } => (rows.start <= rows.end && rows.end <= *len).then_some(RowTimes::Even {
                start_s: *start_s,
                step_s: *step_s,
                first: rows.start,
                len: rows.len(),
            }),
            TimeAxis::Absent { .. } => None,
        }
    }

    /// Number of rows.
    pub fn len(&self) -> usize {
        match self {
            RowTimes::Listed(times) => times.len(),
            RowTimes::Even { len, .. } => *len,
        }
    }

    /// True when there is no row.
    pub fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// The time of a row; a listed row must be there.
    #[inline]
    pub fn at(&self, row: usize) -> f64 {
        match self {
            RowTimes::Listed(times) => times[row],
            RowTimes::Even {
                start_s,
                step_s,
                first,
                ..
            } => start_s + (first + row) as f64 * step_s,
        }
    }

    /// Some rows; they must be there.
    pub fn slice(self, rows: Range<usize>) -> RowTimes<'a> {
        match self {
            RowTimes::Listed(times) => RowTimes::Listed(&times[rows]),
            RowTimes::Even {
                start_s,
                step_s,
                first,
                len,
            } => RowTimes::Even {
                start_s,
                step_s,
                first: first + rows.start,
                len: rows.end.min(len).saturating_sub(rows.start),
            },
        }
    }

    /// The times in order, s.
    pub fn iter(self) -> impl ExactSizeIterator<Item = f64> + 'a {
        (0..self.len()).map(move |row| self.at(row))
    }

    /// First row that is not later than the one before.
    pub fn first_not_later(&self) -> Option<usize> {
        if let RowTimes::Even {
            start_s,
            step_s,
            first,
            len,
        } = self
        {
            // Rounding moves a time by less than two units in the last place of the largest of these.
            let size = start_s.abs() + (first + len) as f64 * step_s.abs();
            if *step_s > 8.0 * f64::EPSILON * size {
                return None;
            }
        }
        let later = |row: usize| self.at(row) > self.at(row - 1);
        (1..self.len()).find(|row| !later(*row))
    }
}

impl<'a> From<&'a [f64]> for RowTimes<'a> {
    fn from(times: &'a [f64]) -> RowTimes<'a> {
        RowTimes::Listed(times)
    }
}

impl<'a> From<&'a Vec<f64>> for RowTimes<'a> {
    fn from(times: &'a Vec<f64>) -> RowTimes<'a> {
        RowTimes::Listed(times)
    }
}

impl<'a> From<&RowTimes<'a>> for RowTimes<'a> {
    fn from(times: &RowTimes<'a>) -> RowTimes<'a> {
        *times
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_times_of_the_axis_to_the_last_bit() {
        let even = TimeAxis::Uniform {
            start_s: -0.1,
            step_s: 1.0 / 3.0,
            len: 900,
        };
        let listed = TimeAxis::Listed((0..900).map(|k| even.at(k).unwrap()).collect());
        for axis in [&even, &listed] {
            let times = RowTimes::of(axis, 100..700).unwrap().slice(20..500);
            let plain: Vec<f64> = (120..600).map(|k| axis.at(k).unwrap()).collect();
            assert_eq!(times.iter().collect::<Vec<_>>(), plain);
            assert_eq!(times.first_not_later(), None);
            assert!(RowTimes::of(axis, 100..901).is_none());
        }
        assert!(RowTimes::of(&TimeAxis::Absent { len: 9 }, 0..9).is_none());
    }

    #[test]
    fn a_row_that_is_not_later_is_found_in_both() {
        // Steps below the last bit of the start: some rows share a time.
        let even = TimeAxis::Uniform {
            start_s: 1.0,
            step_s: 0.3 * f64::EPSILON,
            len: 50,
        };
        let listed: Vec<f64> = (0..50).map(|k| even.at(k).unwrap()).collect();
        let first = listed.windows(2).position(|w| w[1] <= w[0]).unwrap() + 1;
        let times = RowTimes::of(&even, 0..50).unwrap();
        assert_eq!(times.first_not_later(), Some(first));
        assert_eq!(RowTimes::from(&listed).first_not_later(), Some(first));
        let with_nan = [0.0, f64::NAN, 2.0];
        assert_eq!(RowTimes::from(&with_nan[..]).first_not_later(), Some(1));
    }
}
