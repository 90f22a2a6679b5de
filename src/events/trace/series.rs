//! One trace prepared for event finding: holes bridged, noise and quantiles known.

use super::asked::Asked;
use super::deviation::ranked_deviation;
use super::saturation::top_code_runs;
use super::shape::Shape;
use crate::bench::Trace;
use crate::events::phases::contact::{Band, Closed, closed_stretches};
use crate::stats::lanes;
use crate::stats::turned::Turned;
use rayon::prelude::*;
use std::borrow::Cow;
use std::sync::{Arc, OnceLock};

/// Most rows looked at for a quantile or a noise figure; longer traces are read with a stride.
pub(crate) const STATISTIC_ROWS: usize = 100_000;

/// Where the values of a trace lie.
#[derive(Clone, Debug)]
enum Column<'a> {
    Recorded(&'a [f64]),
    /// With the holes filled: a hole carries the last value before it (the first one after it at the beginning).
    Bridged(Arc<[f64]>),
}

/// A trace without holes, as recorded, turned over, or as it lies below a level.
#[derive(Clone, Debug)]
pub(crate) struct Series<'a> {
    column: Column<'a>,
    /// Level of the column that counts as zero, and whether the column is turned over about it.
    zero: f64,
    upside_down: bool,
    /// Standard deviation of the white part, from successive differences.
    noise: f64,
    /// The same, never below what one code step makes.
    pub sigma: f64,
    /// Code step where the trace has one, else 0.
    pub step: f64,
    /// Rows at the end of the converter's range: as the trace flags them, else found by [`top_code_runs`]; may be empty
    /// where no row is.
    pub clipped: Cow<'a, [bool]>,
    /// [`Shape::of`] this trace, worked out once.
    pub shape: OnceLock<Shape>,
    /// What was asked before; copies of the trace share it.
    asked: Arc<Asked>,
}

impl<'a> Series<'a> {
    /// `None` when fewer than two rows hold a number.
    pub fn new(trace: &'a Trace) -> Option<Series<'a>> {
        Series::of(
            &trace.values,
            trace.quantisation_step,
            Cow::Borrowed(&trace.clipped),
            false,
        )
    }

    /// From values, code step and flags apart; `whole` says that no value is missing, where that is known. Values without a
    /// hole are not copied.
    pub fn of(
        values: &'a [f64],
        quantisation_step: Option<f64>,
        clipped: Cow<'a, [bool]>,
        whole: bool,
    ) -> Option<Series<'a>> {
        let first = values.iter().position(|v| v.is_finite())?;
        values.iter().filter(|v| v.is_finite()).nth(1)?;
        let holes = |x: &[f64]| lanes::count(x, |[v]| !v.is_finite()) > 0;
        let column = if whole || stretches(values, 0).all(|(_, x)| !holes(x)) {
            Column::Recorded(values)
        } else {
            let mut last = values[first];
            let bridged = values.iter().map(|&v| {
                if v.is_finite() {
                    last = v;
                }
                last
            });
            Column::Bridged(bridged.collect())
        };
        let mut series = Series {
            noise: 0.0,
            clipped: Vec::new().into(),
            column,
            zero: 0.0,
            upside_down: false,
            sigma: 0.0,
            step: 0.0,
            shape: OnceLock::new(),
            asked: Arc::default(),
        };
        series.noise = difference_noise(series.x().column());
        series.set_step(quantisation_step);
        series.set_clipped(clipped);
        Some(series)
    }

    /// The same values with another code step and other flags.
    pub fn with(mut self, quantisation_step: Option<f64>, clipped: &'a [bool]) -> Series<'a> {
        self.set_step(quantisation_step);
        // What was found in the values stands for as long as there is nothing better; no flags may say that none was.
        if clipped.contains(&true) || self.clipped.contains(&true) {
            self.set_clipped(clipped.into());
        }
        self
    }

    fn set_step(&mut self, quantisation_step: Option<f64>) {
        let step = quantisation_step.filter(|q| q.is_finite() && *q > 0.0);
        self.step = step.unwrap_or(0.0);
        self.sigma = self.noise.max(0.4 * self.step);
        self.shape = OnceLock::new();
    }

    fn set_clipped(&mut self, mut clipped: Cow<'a, [bool]>) {
        if !clipped.contains(&true) {
            clipped = Cow::Owned(top_code_runs(self.x().column()));
        } else if clipped.len() != self.len() {
            clipped.to_mut().resize(self.len(), false);
        }
        self.clipped = clipped;
    }

    /// The same with the sign turned.
    pub fn negated(mut self) -> Series<'a> {
        self.shape = OnceLock::new();
        self.asked = Arc::default();
        self.upside_down = !self.upside_down;
        self
    }

    /// How far the trace lies below a level, row by row; without flags. The trace itself must count from 0.
    pub fn below(&self, level: f64) -> Series<'a> {
        let upside_down = !self.upside_down;
        Series {
            column: self.column.clone(),
            zero: if upside_down { level } else { -level },
            upside_down,
            noise: self.noise,
            sigma: self.sigma,
            step: self.step,
            clipped: Vec::new().into(),
            shape: OnceLock::new(),
            asked: Arc::default(),
        }
    }

    /// One value a row.
    pub fn x(&self) -> Turned<'_> {
        let column = match &self.column {
            Column::Recorded(values) => values,
            Column::Bridged(values) => values.as_ref(),
        };
        Turned::about(column, self.zero, self.upside_down)
    }

    /// True when the trace had holes.
    pub fn had_holes(&self) -> bool {
        matches!(self.column, Column::Bridged(_))
    }

    /// Value of a row.
    #[inline]
    pub fn at(&self, row: usize) -> f64 {
        self.x().at(row)
    }

    pub fn len(&self) -> usize {
        self.x().len()
    }

    /// Mean of the rows `first .. end`, clamped into the record; 0 for an empty range.
    pub fn mean(&self, first: usize, end: usize) -> f64 {
        let rows = self.rows(first, end);
        rows.iter().sum::<f64>() / rows.len().max(1) as f64
    }

    /// Median of the rows `first .. end`, clamped into the record; `None` for an empty range.
    pub fn median(&self, first: usize, end: usize) -> Option<f64> {
        self.quantile(first, end, 0.5)
    }

    /// Quantile `q` in 0..1 of the rows `first .. end`.
    pub fn quantile(&self, first: usize, end: usize, q: f64) -> Option<f64> {
        if first > 0 || end < self.len() {
            return quantile_of(self.rows(first, end), q);
        }
        let ranked = self.ranked();
        ranked.get(place_of(q, ranked.len())?).copied()
    }

    /// The rows that a quantile of the whole trace looks at, in increasing order.
    fn ranked(&self) -> &[f64] {
        self.asked.ranked.get_or_init(|| {
            let mut rows = looked_at(self.x());
            rows.sort_unstable_by(f64::total_cmp);
            rows
        })
    }

    /// Robust standard deviation (scaled median absolute deviation) of the rows `first .. end`, floored like `sigma`.
    pub fn spread(&self, first: usize, end: usize) -> f64 {
        let rows = self.rows(first, end);
        let Some(middle) = self.median(first, end) else {
            return self.sigma;
        };
        let mad = if rows.len() == self.len() {
            let ranked = self.ranked();
            place_of(0.5, ranked.len()).map_or(0.0, |place| ranked_deviation(ranked, middle, place))
        } else {
            let stride = rows.len().div_ceil(STATISTIC_ROWS).max(1);
            let deviations = rows.strided(stride).map(|v| (v - middle).abs());
            let mut deviations: Vec<f64> = deviations.collect();
            quantile_in_place(&mut deviations, 0.5).unwrap_or(0.0)
        };
        (1.4826 * mad).max(0.4 * self.step)
    }

    /// Largest value of the running median of three in `first .. end` and its row, so that a needle is no peak.
    pub fn peak(&self, first: usize, end: usize) -> Option<(usize, f64)> {
        if end.saturating_sub(first) < STRETCH {
            return self.sought_peak(first, end);
        }
        let peaks = &self.asked.peaks;
        peaks.to((first, end), || self.sought_peak(first, end))
    }

    fn sought_peak(&self, first: usize, end: usize) -> Option<(usize, f64)> {
        let end = end.min(self.len());
        let rows = end.saturating_sub(first);
        let stretches: Vec<(usize, usize, f64)> = (0..rows.div_ceil(STRETCH))
            .into_par_iter()
            .map(|k| {
                let from = first + k * STRETCH;
                let end = (from + STRETCH).min(end);
                (from, end, largest_median3(self.x(), from, end, |m| m))
            })
            .collect();
        // Of equal peaks the last, as rows follow each other.
        let (from, end, top) = stretches.into_iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
        let at_top = medians3(self.x(), from, end).filter(|(_, m)| *m == top);
        at_top.max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// As [`closed_stretches`] of this trace.
    pub fn closed(&self, band: Band, first: usize, end: usize) -> Vec<Closed> {
        let question = (band.low.to_bits(), band.high.to_bits(), first, end);
        let closed = &self.asked.closed;
        closed.to(question, || closed_stretches(self.x(), band, first, end))
    }

    /// Median of the row and its neighbours.
    pub fn median3(&self, row: usize) -> f64 {
        if row == 0 || row + 1 >= self.len() {
            return self.at(row);
        }
        median(self.at(row - 1), self.at(row), self.at(row + 1))
    }

    pub fn rows(&self, first: usize, end: usize) -> Turned<'_> {
        let end = end.min(self.len());
        self.x().slice(first.min(end)..end)
    }
}

/// Quantile of finite numbers by selection; `None` when there is none. Long slices are read with a stride.
pub(crate) fn quantile(rows: &[f64], q: f64) -> Option<f64> {
    quantile_of(Turned::new(rows), q)
}

/// The same of a column that may be turned over.
pub(crate) fn quantile_of(rows: Turned, q: f64) -> Option<f64> {
    quantile_in_place(&mut looked_at(rows), q)
}

/// The same of all numbers, which change places.
fn quantile_in_place(numbers: &mut [f64], q: f64) -> Option<f64> {
    let place = place_of(q, numbers.len())?;
    let (_, value, _) = numbers.select_nth_unstable_by(place, f64::total_cmp);
    Some(*value)
}

/// The rows that a quantile looks at.
fn looked_at(rows: Turned) -> Vec<f64> {
    let stride = rows.len().div_ceil(STATISTIC_ROWS).max(1);
    rows.strided(stride).collect()
}

/// Place of quantile `q` among so many numbers in increasing order; `None` of none.
fn place_of(q: f64, count: usize) -> Option<usize> {
    Some((count.checked_sub(1)? as f64 * q.clamp(0.0, 1.0)).round() as usize)
}

/// White-noise standard deviation from the median size of successive differences: slow motion and rare jumps do not
/// enter. The median of |x₁ − x₀| of a normal pair is 0.6745·√2·σ.
fn difference_noise(x: &[f64]) -> f64 {
    let pairs = x.len().saturating_sub(1);
    let stride = pairs.div_ceil(STATISTIC_ROWS).max(1);
    let mut differences: Vec<f64> = (0..pairs)
        .step_by(stride)
        .map(|k| (x[k + 1] - x[k]).abs())
        .collect();
    let typical = quantile_in_place(&mut differences, 0.5).unwrap_or(0.0);
    let largest = quantile_in_place(&mut differences, 1.0).unwrap_or(0.0);
    (typical / (0.674_489_75 * std::f64::consts::SQRT_2)).max(1e-6 * largest)
}

/// Rows `from .. end` with the medians of each row and its neighbours, as [`Series::median3`].
pub(crate) fn medians3(
    x: Turned<'_>,
    from: usize,
    end: usize,
) -> impl Iterator<Item = (usize, f64)> {
    let last = x.len().saturating_sub(1);
    let (low, high) = (from.max(1), end.min(last));
    let inner = x.column().get(low - 1..high + 1).unwrap_or_default();
    let edge = move |row: usize| (from..end).contains(&row).then(|| (row, x.at(row)));
    // Turned over, the middle one stays in the middle.
    let medians = inner
        .windows(3)
        .enumerate()
        .map(move |(k, w)| (low + k, x.of(median(w[0], w[1], w[2]))));
    let at_end = if last > 0 { edge(last) } else { None };
    edge(0).into_iter().chain(medians).chain(at_end)
}

/// Largest of `of` over the medians of the rows `from .. end` and their neighbours, as [`medians3`] has them.
pub(crate) fn largest_median3(
    x: Turned<'_>,
    from: usize,
    end: usize,
    of: impl Fn(f64) -> f64,
) -> f64 {
    let last = x.len().saturating_sub(1);
    let (low, high) = (from.max(1), end.min(last));
    let inner = x.column().get(low - 1..high + 1).unwrap_or_default();
    // Rows at the ends of the record stand for themselves.
    let ends = [0, last]
        .into_iter()
        .filter(|row| (from..end).contains(row));
    let inner = lanes::largest(inner, |[a, b, c]| of(x.of(median(a, b, c))));
    ends.map(|row| of(x.at(row))).fold(inner, f64::max)
}

/// Median of three numbers.
fn median(a: f64, b: f64, c: f64) -> f64 {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    let high = if high < c { high } else { c };
    if low < high { high } else { low }
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
