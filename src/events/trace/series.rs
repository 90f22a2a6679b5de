//! One trace prepared for event finding: holes bridged, noise and quantiles known.

use super::bands::{Band, Closed, closed_stretches};
use super::passes::{CHUNK, PassCache, chunks, largest_median3, median_of_three, medians3};
use super::quantile::{
    STATISTIC_ROWS, difference_noise, place_of, quantile_in_place, quantile_of, strided_rows,
};
use super::saturation::saturated_rows;
use crate::bench::Trace;
use crate::stats::affine_view::AffineView;
use crate::stats::simd;
use rayon::prelude::*;
use std::borrow::Cow;
use std::sync::Arc;

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
    /// Rows at the end of the converter's range: as the trace flags them, else found by [`saturated_rows`]; may be empty
    /// where no row is.
    pub clipped: Cow<'a, [bool]>,
    /// The rows of the column that a quantile of the whole trace looks at, in increasing order.
    sorted: Arc<[f64]>,
    cache: Arc<PassCache>,
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
        let holes = |x: &[f64]| simd::count(x, |[v]| !v.is_finite()) > 0;
        let column = if whole || chunks(values, 0).all(|(_, x)| !holes(x)) {
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
            sorted: Arc::default(),
            cache: Arc::default(),
        };
        let column = series.x().column();
        let mut sorted = strided_rows(AffineView::new(column));
        sorted.sort_unstable_by(f64::total_cmp);
        series.noise = difference_noise(column);
        series.sorted = sorted.into();
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
    }

    fn set_clipped(&mut self, mut clipped: Cow<'a, [bool]>) {
        if !clipped.contains(&true) {
            clipped = Cow::Owned(saturated_rows(self.x().column()));
        } else if clipped.len() != self.len() {
            clipped.to_mut().resize(self.len(), false);
        }
        self.clipped = clipped;
    }

    /// The same with the sign turned.
    pub fn negated(mut self) -> Series<'a> {
        self.upside_down = !self.upside_down;
        self.cache = Arc::default();
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
            sorted: self.sorted.clone(),
            cache: Arc::default(),
        }
    }

    /// One value a row.
    pub fn x(&self) -> AffineView<'_> {
        let column = match &self.column {
            Column::Recorded(values) => values,
            Column::Bridged(values) => values.as_ref(),
        };
        AffineView::about(column, self.zero, self.upside_down)
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
        let place = place_of(q, self.sorted.len())?;
        let place = if self.upside_down {
            self.sorted.len() - 1 - place
        } else {
            place
        };
        Some(self.x().of(self.sorted[place]))
    }

    /// Robust standard deviation (scaled median absolute deviation) of the rows `first .. end`, floored like `sigma`.
    pub fn spread(&self, first: usize, end: usize) -> f64 {
        let rows = self.rows(first, end);
        let Some(middle) = self.median(first, end) else {
            return self.sigma;
        };
        let stride = rows.len().div_ceil(STATISTIC_ROWS).max(1);
        let deviations = rows.strided(stride).map(|v| (v - middle).abs());
        let mut deviations: Vec<f64> = deviations.collect();
        let mad = quantile_in_place(&mut deviations, 0.5).unwrap_or(0.0);
        (1.4826 * mad).max(0.4 * self.step)
    }

    /// Largest value of the running median of three in `first .. end` and its row, so that a needle is no peak.
    pub fn peak(&self, first: usize, end: usize) -> Option<(usize, f64)> {
        let end = end.min(self.len());
        let find = || self.find_peak(first, end);
        self.cache.peaks.get_or_work_out((first, end), find)
    }

    fn find_peak(&self, first: usize, end: usize) -> Option<(usize, f64)> {
        let rows = end.saturating_sub(first);
        let tops: Vec<(usize, usize, f64)> = (0..rows.div_ceil(CHUNK))
            .into_par_iter()
            .map(|k| {
                let from = first + k * CHUNK;
                let end = (from + CHUNK).min(end);
                (from, end, largest_median3(self.x(), from, end, |m| m))
            })
            .collect();
        // Of equal peaks the last, as rows follow each other.
        let (from, end, top) = tops.into_iter().max_by(|a, b| a.2.total_cmp(&b.2))?;
        let at_top = medians3(self.x(), from, end).filter(|(_, m)| *m == top);
        at_top.max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// As [`closed_stretches`] of this trace.
    pub fn closed(&self, band: Band, first: usize, end: usize) -> Vec<Closed> {
        let key = (band.low.to_bits(), band.high.to_bits(), first, end);
        let find = || closed_stretches(self.x(), band, first, end);
        self.cache.closed.get_or_work_out(key, find)
    }

    /// Median of the row and its neighbours.
    pub fn median3(&self, row: usize) -> f64 {
        if row == 0 || row + 1 >= self.len() {
            return self.at(row);
        }
        median_of_three(self.at(row - 1), self.at(row), self.at(row + 1))
    }

    pub fn rows(&self, first: usize, end: usize) -> AffineView<'_> {
        let end = end.min(self.len());
        self.x().slice(first.min(end)..end)
    }
}
