//! Passes over the rows of a long trace: in stretches on all threads, with the running median of three, and their results kept.

use super::bands::Closed;
use crate::stats::affine_view::AffineView;
use crate::stats::simd;
use rayon::prelude::*;
use std::sync::{Mutex, PoisonError};

/// Rows of one task.
pub(crate) const CHUNK: usize = 1 << 16;

/// The rows in stretches with their first row, each with `more` rows of the next.
pub(crate) fn chunks(
    x: &[f64],
    more: usize,
) -> impl IndexedParallelIterator<Item = (usize, &[f64])> {
    let count = x.len().div_ceil(CHUNK);
    (0..count).into_par_iter().map(move |k| {
        let first = k * CHUNK;
        (first, &x[first..(first + CHUNK + more).min(x.len())])
    })
}

/// Rows `from .. end` with the medians of each row and its neighbours; rows at the ends of the record stand for themselves.
pub(crate) fn medians3(
    x: AffineView<'_>,
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
        .map(move |(k, w)| (low + k, x.of(median_of_three(w[0], w[1], w[2]))));
    let at_end = if last > 0 { edge(last) } else { None };
    edge(0).into_iter().chain(medians).chain(at_end)
}

/// Largest of `of` over the medians of the rows `from .. end` and their neighbours, as [`medians3`] has them.
pub(crate) fn largest_median3(
    x: AffineView<'_>,
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
    let inner = simd::largest(inner, |[a, b, c]| of(x.of(median_of_three(a, b, c))));
    ends.map(|row| of(x.at(row))).fold(inner, f64::max)
}

/// Median of three numbers.
pub(crate) fn median_of_three(a: f64, b: f64, c: f64) -> f64 {
    let (low, high) = if a < b { (a, b) } else { (b, a) };
    let high = if high < c { high } else { c };
    if low < high { high } else { low }
}

/// What passes over the rows of one trace have given.
#[derive(Debug, Default)]
pub(super) struct PassCache {
    /// By first row and end.
    pub peaks: Memo<(usize, usize), Option<(usize, f64)>>,
    /// By the bits of the band, first row and end.
    pub closed: Memo<(u64, u64, usize, usize), Vec<Closed>>,
}

/// Results by key, few of them.
#[derive(Debug)]
pub(super) struct Memo<K, V>(Mutex<Vec<(K, V)>>);

impl<K, V> Default for Memo<K, V> {
    fn default() -> Memo<K, V> {
        Memo(Mutex::default())
    }
}

impl<K: PartialEq, V: Clone> Memo<K, V> {
    /// The result for a key, worked out where it is not kept.
    pub fn get_or_work_out(&self, key: K, work_out: impl FnOnce() -> V) -> V {
        let kept = || self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((_, result)) = kept().iter().find(|(k, _)| *k == key) {
            return result.clone();
        }
        let result = work_out();
        kept().push((key, result.clone()));
        result
    }
}
