//! One trace prepared for event finding: holes bridged, noise and quantiles known.

use super::shape::Shape;
use crate::bench::Trace;
use rayon::prelude::*;
use std::borrow::Cow;
use std::cmp::Ordering;
use std::sync::OnceLock;

/// Most rows looked at for a quantile or a noise figure; longer traces are read with a stride.
pub(crate) const STATISTIC_ROWS: usize = 100_000;

/// A trace without holes, in the unit of the trace times `sign`.
#[derive(Clone, Debug)]
pub(crate) struct Series<'a> {
    /// One value a row; a hole carries the last value before it (the first one after it at the beginning).
    pub x: Cow<'a, [f64]>,
    /// Standard deviation of the white part, from successive differences, never below what one code step makes.
    pub sigma: f64,
    /// Code step where the trace has one, else 0.
    pub step: f64,
    /// Rows at the end of the converter's range: as the trace flags them, else found by [`top_code_runs`]; may be empty
    /// where no row is.
    pub clipped: Cow<'a, [bool]>,
    /// [`Shape::of`] this trace, worked out once.
    pub shape: OnceLock<Shape>,
}

impl<'a> Series<'a> {
    /// `None` when fewer than two rows hold a number.
    pub fn new(trace: &'a Trace) -> Option<Series<'a>> {
        Series::of(
            &trace.values,
            trace.quantisation_step,
            Cow::Borrowed(&trace.clipped),
        )
    }

    /// From values, code step and flags apart. Values without a hole are not copied.
    pub fn of(
        values: &'a [f64],
        quantisation_step: Option<f64>,
        clipped: Cow<'a, [bool]>,
    ) -> Option<Series<'a>> {
        let first = values.iter().position(|v| v.is_finite())?;
        values.iter().filter(|v| v.is_finite()).nth(1)?;
        let x = if stretches(values, 0).all(|(_, x)| x.iter().all(|v| v.is_finite())) {
            Cow::Borrowed(values)
        } else {
            let mut last = values[first];
            let bridged = values.iter().map(|&v| {
                if v.is_finite() {
                    last = v;
                }
                last
            });
            Cow::Owned(bridged.collect())
        };
        let step = quantisation_step
            .filter(|q| q.is_finite() && *q > 0.0)
            .unwrap_or(0.0);
        let sigma = difference_noise(&x).max(0.4 * step);
        let clipped = if clipped.contains(&true) {
            if clipped.len() == x.len() {
                clipped
            } else {
                let mut flags = clipped.into_owned();
                flags.resize(x.len(), false);
                Cow::Owned(flags)
            }
        } else {
            Cow::Owned(top_code_runs(&x))
        };
        Some(Series {
            x,
            sigma,
            step,
            clipped,
            shape: OnceLock::new(),
        })
    }

    /// The same with the sign turned.
    pub fn negated(mut self) -> Series<'a> {
        self.shape = OnceLock::new();
        self.x.to_mut().iter_mut().for_each(|v| *v = -*v);
        self
    }

    pub fn len(&self) -> usize {
        self.x.len()
    }

    /// Mean of the rows `first .. end`, clamped into the record; 0 for an empty range.
    pub fn mean(&self, first: usize, end: usize) -> f64 {
        let rows = self.rows(first, end);
        rows.iter().sum::<f64>() / rows.len().max(1) as f64
    }

    /// Median of the rows `first .. end`, clamped into the record; `None` for an empty range.
    pub fn median(&self, first: usize, end: usize) -> Option<f64> {
        quantile(self.rows(first, end), 0.5)
    }

    /// Quantile `q` in 0..1 of the rows `first .. end`.
    pub fn quantile(&self, first: usize, end: usize, q: f64) -> Option<f64> {
        quantile(self.rows(first, end), q)
    }

    /// Robust standard deviation (scaled median absolute deviation) of the rows `first .. end`, floored like `sigma`.
    pub fn spread(&self, first: usize, end: usize) -> f64 {
        let rows = self.rows(first, end);
        let Some(middle) = quantile(rows, 0.5) else {
            return self.sigma;
        };
        let stride = rows.len().div_ceil(STATISTIC_ROWS).max(1);
        let deviations: Vec<f64> = rows
            .iter()
            .step_by(stride)
            .map(|v| (v - middle).abs())
            .collect();
        let mad = quantile(&deviations, 0.5).unwrap_or(0.0);
        (1.4826 * mad).max(0.4 * self.step)
    }

    /// Largest value of the running median of three in `first .. end` and its row, so that a needle is no peak.
    pub fn peak(&self, first: usize, end: usize) -> Option<(usize, f64)> {
        let end = end.min(self.len());
        let rows = end.saturating_sub(first);
        // Of equal peaks the last, as rows follow each other.
        let later = |a: (usize, f64), b: (usize, f64)| match a.1.total_cmp(&b.1) {
            Ordering::Greater => a,
            _ => b,
        };
        (0..rows.div_ceil(STRETCH))
            .into_par_iter()
            .filter_map(|k| {
                let from = first + k * STRETCH;
                let medians = medians3(&self.x, from, (from + STRETCH).min(end));
                medians.reduce(later)
            })
            .reduce_with(later)
    }

    /// Median of the row and its neighbours.
    pub fn median3(&self, row: usize) -> f64 {
        if row == 0 || row + 1 >= self.len() {
            return self.x[row];
        }
        let (a, b, c) = (self.x[row - 1], self.x[row], self.x[row + 1]);
        a.min(b).max(a.max(b).min(c))
    }

    pub fn rows(&self, first: usize, end: usize) -> &[f64] {
        let end = end.min(self.len());
        &self.x[first.min(end)..end]
    }
}

/// Quantile of finite numbers by selection; `None` when there is none. Long slices are read with a stride.
pub(crate) fn quantile(rows: &[f64], q: f64) -> Option<f64> {
    if rows.is_empty() {
        return None;
    }
    let stride = rows.len().div_ceil(STATISTIC_ROWS).max(1);
    let mut kept: Vec<f64> = rows.iter().step_by(stride).copied().collect();
    let index = ((kept.len() - 1) as f64 * q.clamp(0.0, 1.0)).round() as usize;
    let (_, value, _) = kept.select_nth_unstable_by(index, f64::total_cmp);
    Some(*value)
}

/// White-noise standard deviation from the median size of successive differences: slow motion and rare jumps do not
/// enter. The median of |x₁ − x₀| of a normal pair is 0.6745·√2·σ.
fn difference_noise(x: &[f64]) -> f64 {
    let pairs = x.len().saturating_sub(1);
    let stride = pairs.div_ceil(STATISTIC_ROWS).max(1);
    let differences: Vec<f64> = (0..pairs)
        .step_by(stride)
        .map(|k| (x[k + 1] - x[k]).abs())
        .collect();
    let typical = quantile(&differences, 0.5).unwrap_or(0.0);
    let largest = quantile(&differences, 1.0).unwrap_or(0.0);
    (typical / (0.674_489_75 * std::f64::consts::SQRT_2)).max(1e-6 * largest)
}

/// Rows in runs of the largest or the smallest value that noise would have broken: the trace left the screen.
///
/// A share `p` of all neighbours is equal; a run of `n` equal rows then has a chance of about `p^(n−1)`, and one below
/// 10⁻⁴ over the record is no chance. A noiseless trace (nearly all neighbours equal) cannot be judged so.
fn top_code_runs(x: &[f64]) -> Vec<bool> {
    let (low, high) = range(x);
    let at_ends = |v: f64| v == low || v == high;
    // One row is no run: most records end here.
    let runs: Vec<(usize, usize)> = stretches(x, 1)
        .flat_map_iter(|(first, x)| {
            let pairs = x.windows(2).enumerate();
            pairs
                .filter(|(_, w)| at_ends(w[0]) && w[0] == w[1])
                .map(move |(k, _)| first + k)
        })
        .fold(Vec::new, with_pair)
        .reduce(Vec::new, |mut all, more| {
            for (first, end) in more {
                match all.last_mut() {
                    Some(last) if last.1 > first => last.1 = end,
                    _ => all.push((first, end)),
                }
            }
            all
        });
    if runs.is_empty() || high <= low {
        return Vec::new();
    }
    // Neighbours that differ, neighbours not at an end, and those of them that are equal.
    let [moving, pairs, equal] = stretches(x, 1)
        .map(|(_, x)| {
            x.windows(2).fold([0usize; 3], |[moving, pairs, equal], w| {
                let (inner, same) = (!at_ends(w[0]), w[0] == w[1]);
                [
                    moving + usize::from(!same),
                    pairs + usize::from(inner),
                    equal + usize::from(inner && same),
                ]
            })
        })
        .reduce(|| [0; 3], |a, b| [a[0] + b[0], a[1] + b[1], a[2] + b[2]]);
    if pairs < 100 || moving < 50 {
        return Vec::new();
    }
    let share = (equal as f64 / pairs as f64).max(0.05);
    if share > 0.9 {
        return Vec::new();
    }
    let needed = 1 + ((1e-4 / x.len() as f64).ln() / share.ln()).ceil() as usize;
    let mut clipped = vec![false; x.len()];
    for (first, end) in runs {
        if end - first >= needed {
            clipped[first..end].fill(true);
        }
    }
    clipped
}

/// Adds the pair of equal rows that begins at `row` to runs of rows (first, end). Equal neighbours of one extreme cannot
/// follow those of the other without a row between.
fn with_pair(mut runs: Vec<(usize, usize)>, row: usize) -> Vec<(usize, usize)> {
    match runs.last_mut() {
        Some(last) if last.1 > row => last.1 = row + 2,
        _ => runs.push((row, row + 2)),
    }
    runs
}

/// Rows `from .. end` with the medians of each row and its neighbours, as [`Series::median3`].
pub(crate) fn medians3(x: &[f64], from: usize, end: usize) -> impl Iterator<Item = (usize, f64)> {
    let last = x.len().saturating_sub(1);
    let (low, high) = (from.max(1), end.min(last));
    let inner = x.get(low - 1..high + 1).unwrap_or_default();
    let edge = move |row: usize| (from..end).contains(&row).then(|| (row, x[row]));
    let medians = inner.windows(3).enumerate().map(move |(k, w)| {
        let (a, b, c) = (w[0], w[1], w[2]);
        (low + k, a.min(b).max(a.max(b).min(c)))
    });
    let at_end = if last > 0 { edge(last) } else { None };
    edge(0).into_iter().chain(medians).chain(at_end)
}

/// Rows a task.
const STRETCH: usize = 1 << 16;

/// The rows in stretches with their first row, each with `more` rows of the next.
pub(crate) fn stretches(
    x: &[f64],
    more: usize,
) -> impl IndexedParallelIterator<Item = (usize, &[f64])> {
    let count = x.len().div_ceil(STRETCH);
    (0..count).into_par_iter().map(move |k| {
        let first = k * STRETCH;
        (first, &x[first..(first + STRETCH + more).min(x.len())])
    })
}

/// Smallest and largest value.
fn range(x: &[f64]) -> (f64, f64) {
    const NONE: (f64, f64) = (f64::INFINITY, f64::NEG_INFINITY);
    stretches(x, 0)
        .map(|(_, x)| x.iter().fold(NONE, |(l, h), &v| (l.min(v), h.max(v))))
        .reduce(|| NONE, |a, b| (a.0.min(b.0), a.1.max(b.1)))
}
