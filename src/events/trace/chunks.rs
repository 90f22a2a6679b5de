//! A long column in stretches that several threads take.

use rayon::prelude::*;

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
