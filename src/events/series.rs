//! One trace prepared for event finding: holes bridged, noise and quantiles known.

use crate::bench::Trace;

/// Most rows looked at for a quantile or a noise figure; longer traces are read with a stride.
const STATISTIC_ROWS: usize = 100_000;

/// A trace without holes, in the unit of the trace times `sign`.
#[derive(Clone, Debug)]
pub(crate) struct Series {
    /// One value a row; a hole carries the last value before it (the first one after it at the beginning).
    pub x: Vec<f64>,
    /// Standard deviation of the white part, from successive differences, never below what one code step makes.
    pub sigma: f64,
    /// Code step where the trace has one, else 0.
    pub step: f64,
    /// Rows at the end of the converter's range: as the trace flags them, else found by [`top_code_runs`].
    pub clipped: Vec<bool>,
}

impl Series {
    /// `None` when fewer than two rows hold a number.
    pub fn new(trace: &Trace) -> Option<Series> {
        let first = trace.values.iter().position(|v| v.is_finite())?;
        trace.values.iter().filter(|v| v.is_finite()).nth(1)?;
        let mut last = trace.values[first];
        let x: Vec<f64> = trace
            .values
            .iter()
            .map(|&v| {
                if v.is_finite() {
                    last = v;
                }
                last
            })
            .collect();
        let step = trace
            .quantisation_step
            .filter(|q| q.is_finite() && *q > 0.0)
            .unwrap_or(0.0);
        let sigma = difference_noise(&x).max(0.4 * step);
        let clipped = if trace.clipped.iter().any(|&c| c) {
            let mut flags = trace.clipped.clone();
            flags.resize(x.len(), false);
            flags
        } else {
            top_code_runs(&x)
        };
        Some(Series {
            x,
            sigma,
            step,
            clipped,
        })
    }

    /// The same with the sign turned.
    pub fn negated(mut self) -> Series {
        self.x.iter_mut().for_each(|v| *v = -*v);
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
        (first..end)
            .map(|k| (k, self.median3(k)))
            .max_by(|a, b| a.1.total_cmp(&b.1))
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
    let mut clipped = vec![false; x.len()];
    let (low, high) = x
        .iter()
        .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), &v| {
            (l.min(v), h.max(v))
        });
    let moving = x.windows(2).filter(|w| w[0] != w[1]).count().max(1);
    let at_ends = |v: f64| v == low || v == high;
    let pairs = x.windows(2).filter(|w| !at_ends(w[0])).count();
    let equal = x
        .windows(2)
        .filter(|w| !at_ends(w[0]) && w[0] == w[1])
        .count();
    if pairs < 100 || moving < 50 || high <= low {
        return clipped;
    }
    let share = (equal as f64 / pairs as f64).max(0.05);
    if share > 0.9 {
        return clipped;
    }
    let needed = 1 + ((1e-4 / x.len() as f64).ln() / share.ln()).ceil() as usize;
    let mut row = 0;
    while row < x.len() {
        let first = row;
        while row < x.len() && x[row] == x[first] {
            row += 1;
        }
        if at_ends(x[first]) && row - first >= needed {
            clipped[first..row].fill(true);
        }
        row = row.max(first + 1);
    }
    clipped
}
