//! Rows that rest at an end of a trace's range longer than its noise allows.

use super::passes::chunks;
use crate::capture::rests_at_zero;
use crate::stats::simd;
use rayon::prelude::*;

/// Rows in runs of the largest or the smallest value that noise would have broken: the trace left the screen.
///
/// A share `p` of all neighbours is equal; a run of `n` equal rows then has a chance of about `p^(n−1)`, and one below
/// 10⁻⁴ over the record is no chance. A noiseless trace (nearly all neighbours equal) cannot be judged so.
pub(crate) fn saturated_rows(x: &[f64]) -> Vec<bool> {
    // What is true of the ends of the record's range is true of a stretch that reaches them: one pass tells where to look.
    /// First row, rows, their range, and how many pairs at its ends are equal.
    type Stretch<'a> = (usize, &'a [f64], (f64, f64), usize);
    let found: Vec<Stretch<'_>> = chunks(x, 1)
        .map(|(first, rows)| {
            let (low, high) = simd::range(rows);
            let pair = |[a, b]: [f64; 2]| a == b && (a == low || a == high);
            (first, rows, (low, high), simd::count(rows, pair))
        })
        .collect();
    const NONE: (f64, f64) = (f64::INFINITY, f64::NEG_INFINITY);
    let ranges = found.iter().map(|stretch| stretch.2);
    let (low, high) = ranges.fold(NONE, |a, b| (a.0.min(b.0), a.1.max(b.1)));
    let at_ends = |v: f64| v == low || v == high;
    // One row is no run: most records end here.
    let at_end = |w: [f64; 2]| at_ends(w[0]) && w[0] == w[1];
    let runs: Vec<(usize, usize)> = found
        .into_par_iter()
        .filter(|(_, _, (l, h), pairs)| *pairs > 0 && (*l == low || *h == high))
        .map(|(first, rows, ..)| (first, rows))
        .flat_map_iter(|(first, x)| {
            let pairs = x.windows(2).enumerate();
            pairs
                .filter(|(_, w)| at_end([w[0], w[1]]))
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
    let [moving, pairs, equal] = chunks(x, 1)
        .map(|(_, x)| {
            [
                simd::count(x, |[a, b]| a != b),
                simd::count(x, |[a, _]| !at_ends(a)),
                simd::count(x, |[a, b]| !at_ends(a) && a == b),
            ]
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
    let at_zero = runs.iter().any(|(first, _)| x[*first] == 0.0) && rests_at_zero(x);
    for (first, end) in runs {
        if end - first >= needed && !(at_zero && x[first] == 0.0) {
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

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    /// A current of 0.3 A with noise that is switched off for a third of the record, by an ammeter with a dead band and by one that shows
    /// nothing below zero while −0.3 A flows, after a rest at zero.
    #[test]
    fn a_dead_band_at_zero_is_no_end_of_the_range() {
        let mut random = rand::rngs::StdRng::seed_from_u64(4);
        let mut noise = || 0.01 * (random.random::<f64>() + random.random::<f64>() - 1.0);
        let mut record = |current: fn(usize) -> f64, shown: fn(f64) -> f64| -> Vec<f64> {
            (0..3000)
                .map(|k| (shown(current(k) + noise()) / 1e-3).round() * 1e-3)
                .collect()
        };
        let switched = |k| if (1000..2000).contains(&k) { 0.0 } else { 0.3 };
        let dead = record(switched, |i| if i.abs() < 0.03 { 0.0 } else { i });
        assert_eq!(saturated_rows(&dead).iter().filter(|row| **row).count(), 0);
        let reversed = |k| match k {
            0..1000 => 0.0,
            1000..2000 => 0.3,
            _ => -0.3,
        };
        let clipped = record(reversed, |i| i.max(0.0));
        assert!(saturated_rows(&clipped)[2000..].iter().all(|row| *row));
    }
}
