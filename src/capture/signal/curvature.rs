//! Second differences of a column: their median, and the noise that they show.

use crate::stats::order_statistic::OrderStatistic;
use crate::stats::simd;
use rayon::prelude::*;

/// Standard deviation of the noise of a column whose [`median_curvature`] and step between codes are known.
pub fn noise_about(values: &[f64], median: f64, step: Option<f64>) -> Option<f64> {
    // 0.6745 is the upper quartile of the normal distribution; two codes up and down are noise of a converter too.
    let limit = (4.0 * median / 0.6745).max(2.5 * step.unwrap_or(0.0));
    // Sums over stretches of a fixed length, so that the number of threads changes no bit. What is left out adds nothing.
    let sums: Vec<(f64, usize)> = stretches(values)
        .map(|stretch| {
            curvatures(stretch).fold((0.0, 0), |(sum, count), d| {
                let small = d.abs() <= limit;
                (
                    sum + if small { d * d } else { 0.0 },
                    count + usize::from(small),
                )
            })
        })
        .collect();
    let (sum, count) = sums
        .into_iter()
        .fold((0.0, 0), |(s, n), (sum, count)| (s + sum, n + count));
    // Var(a - 2b + c) = 6 s^2.
    let deviation = (sum / (6.0 * count as f64)).sqrt();
    (deviation > 0.0).then_some(deviation)
}

/// Second differences a task.
const STRETCH: usize = 1 << 16;

/// Second difference of three neighbours.
fn curvature(w: [f64; 3]) -> f64 {
    w[2] - 2.0 * w[1] + w[0]
}

/// Second differences, some of which may not be finite.
fn curvatures(values: &[f64]) -> impl Iterator<Item = f64> + '_ {
    values.windows(3).map(|w| curvature([w[0], w[1], w[2]]))
}

/// The values in stretches that share two samples, so that every second difference is in one of them.
fn stretches(values: &[f64]) -> impl IndexedParallelIterator<Item = &[f64]> + '_ {
    let count = values.len().saturating_sub(2).div_ceil(STRETCH);
    (0..count).into_par_iter().map(move |k| {
        let first = k * STRETCH;
        &values[first..(first + STRETCH + 2).min(values.len())]
    })
}

/// Upper median of the sizes of the finite second differences; `None` for fewer than eight.
pub fn median_curvature(values: &[f64]) -> Option<f64> {
    let seek = |about: MedianCurvature| {
        stretches(values)
            .fold(
                || about.clone(),
                |mut median, stretch| {
                    median.take(stretch);
                    median
                },
            )
            .reduce(|| about.clone(), MedianCurvature::and)
            .found()
    };
    seek(MedianCurvature::about(values)).or_else(|| seek(MedianCurvature::anywhere()))
}

/// Upper median of the sizes of the finite second differences, found without keeping them.
#[derive(Clone)]
pub struct MedianCurvature {
    total: usize,
    sizes: OrderStatistic,
}

impl MedianCurvature {
    /// Looked for where it most likely lies.
    pub fn about(values: &[f64]) -> MedianCurvature {
        MedianCurvature {
            total: 0,
            sizes: OrderStatistic::about_middle(values, size),
        }
    }

    fn anywhere() -> MedianCurvature {
        MedianCurvature {
            total: 0,
            sizes: OrderStatistic::anywhere(),
        }
    }

    /// Takes in the second differences of some neighbours.
    pub fn take(&mut self, values: &[f64]) {
        self.total += simd::count(values, |w| size(w) < f64::INFINITY);
        self.sizes.take(values, size);
    }

    /// Together with others looked for in the same place.
    pub fn and(mut self, other: MedianCurvature) -> MedianCurvature {
        self.total += other.total;
        self.sizes = self.sizes.and(other.sizes);
        self
    }

    /// `None` for fewer than eight, or where it lies elsewhere.
    pub fn found(&mut self) -> Option<f64> {
        (self.total >= 8)
            .then(|| self.sizes.ranked(self.total / 2))
            .flatten()
    }
}

fn size(w: [f64; 3]) -> f64 {
    curvature(w).abs()
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    #[test]
    fn the_median_is_found_without_keeping_all() {
        let mut random = rand::rngs::StdRng::seed_from_u64(11);
        let mut drawn = |step: f64, rows: usize| -> Vec<f64> {
            let draw = || -> f64 { random.random_range(-1.0..1.0) };
            let draws = std::iter::repeat_with(draw).take(rows);
            draws.map(|v| (v / step).round() * step).collect()
        };
        let mut holes = drawn(1e-9, 300_000);
        holes[7] = f64::NAN;
        // A record whose sample lies: every row that is looked at rests.
        let still = (0..400_000)
            .map(|k| f64::from(k % 4 == 3) * f64::from(k))
            .collect();
        for values in [
            holes,
            drawn(0.25, 300_000),
            drawn(1e-9, 999),
            drawn(0.5, 9),
            vec![2.0; 99],
            still,
        ] {
            let mut sizes: Vec<f64> = curvatures(&values)
                .map(f64::abs)
                .filter(|d| d.is_finite())
                .collect();
            sizes.sort_unstable_by(f64::total_cmp);
            let plain = (sizes.len() >= 8).then(|| sizes[sizes.len() / 2]);
            assert_eq!(median_curvature(&values), plain);
        }
        assert_eq!(median_curvature(&[1.0; 9]), None);
    }
}
