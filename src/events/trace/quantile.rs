//! Quantiles of a trace; of long ones from rows taken with a stride.

use crate::stats::affine_view::AffineView;

/// Most rows looked at for a quantile or a noise figure; longer traces are read with a stride.
pub(crate) const STATISTIC_ROWS: usize = 100_000;

/// Quantile of finite numbers by selection; `None` when there is none. Long slices are read with a stride.
pub(crate) fn quantile(rows: &[f64], q: f64) -> Option<f64> {
    quantile_of(AffineView::new(rows), q)
}

/// The same of a column that may be turned over.
pub(crate) fn quantile_of(rows: AffineView, q: f64) -> Option<f64> {
    quantile_in_place(&mut strided_rows(rows), q)
}

/// The same of all numbers, which change places.
pub(crate) fn quantile_in_place(numbers: &mut [f64], q: f64) -> Option<f64> {
    let place = place_of(q, numbers.len())?;
    let (_, value, _) = numbers.select_nth_unstable_by(place, f64::total_cmp);
    Some(*value)
}

/// The rows that a quantile looks at.
pub(crate) fn strided_rows(rows: AffineView) -> Vec<f64> {
    let stride = rows.len().div_ceil(STATISTIC_ROWS).max(1);
    rows.strided(stride).collect()
}

/// Place of quantile `q` among so many numbers in increasing order; `None` of none.
pub(crate) fn place_of(q: f64, count: usize) -> Option<usize> {
    Some((count.checked_sub(1)? as f64 * q.clamp(0.0, 1.0)).round() as usize)
}

/// White-noise standard deviation from the median size of successive differences: slow motion and rare jumps do not
/// enter. The median of |x₁ − x₀| of a normal pair is 0.6745·√2·σ.
pub(crate) fn difference_noise(x: &[f64]) -> f64 {
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
