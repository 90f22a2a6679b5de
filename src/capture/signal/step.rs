//! The step between the codes of a column.

use super::levels::levels;
use crate::stats::order_statistic::OrderStatistic;
use crate::stats::simd;

/// Smallest distance between two codes of the converter (or of the printed digits, where these are coarser).
///
/// Printed values are rounded, so the distances jitter by a digit; the step is the mean distance over the whole grid
/// of codes. `None` with fewer than three different values.
pub fn quantisation_step(values: &[f64]) -> Option<f64> {
    step_of(&levels(values).values)
}

pub(super) fn step_of(levels: &[f64]) -> Option<f64> {
    let gap = |[low, high]: [f64; 2]| high - low;
    let gaps = levels.len().saturating_sub(1);
    if gaps < 2 {
        return None;
    }
    // A few odd levels (the end of the range, sums in floating point) must not set the step: it takes a twentieth of
    // all gaps within half as much again of the smallest. Counted, not sorted: there may be as many gaps as samples.
    let few = (gaps / 20).max(1);
    let (mut smaller, mut bound) = (0, f64::NEG_INFINITY);
    let step = loop {
        if smaller == gaps {
            return None;
        }
        let least = -simd::largest(levels, |w| match gap(w) {
            gap if gap > bound => -gap,
            _ => f64::NEG_INFINITY,
        });
        bound = 1.5 * least;
        let cluster = simd::count(levels, |w| gap(w) <= bound) - smaller;
        if cluster >= few {
            let mut sought = OrderStatistic::within(least, bound);
            sought.take(levels, gap);
            break sought.ranked(smaller + cluster / 2)?;
        }
        smaller += cluster;
    };
    // Rounding errors of the levels cancel along the grid; a second pass takes in wider gaps.
    let mut step = step;
    for reach in [3.0, 12.0] {
        let (sum, count) = levels
            .windows(2)
            .map(|w| w[1] - w[0])
            .filter(|g| *g > 0.5 * step && *g < (reach + 0.3) * step)
            .map(|g| (g, (g / step).round()))
            .filter(|(g, k)| (g / step - k).abs() < 0.3)
            .fold((0.0, 0.0), |(s, n), (g, k)| (s + g, n + k));
        if count > 0.0 {
            step = sum / count;
        }
    }
    Some(step)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rounded(value: f64, step: f64, digits: f64) -> f64 {
        ((value / step).round() * step * digits).round() / digits
    }

    #[test]
    fn the_step_is_found_through_printed_digits() {
        let values: Vec<f64> = (0..400)
            .map(|k| rounded((f64::from(k) * 0.05).sin() * 3.0, 0.0625, 1e3))
            .collect();
        let step = quantisation_step(&values).unwrap();
        assert!((step - 0.0625).abs() < 1e-4, "{step}");
        let astray: Vec<f64> = (0..400)
            .map(|k| f64::from(k % 40) * 0.04 + f64::from(k % 7) * 1e-12)
            .collect();
        let step = quantisation_step(&astray).unwrap();
        assert!((step - 0.04).abs() < 1e-9, "{step}");
        assert_eq!(quantisation_step(&[1.0, 1.0, 1.0]), None);
        assert_eq!(quantisation_step(&[f64::NAN, 2.0]), None);
    }
}
