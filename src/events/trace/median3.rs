//! The running median of three, in which a needle of one row does not show.

use crate::stats::affine_view::AffineView;
use crate::stats::simd;

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
