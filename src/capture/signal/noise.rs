//! The noise of a column, from how each sample differs from the line through its neighbours.

use super::codes::{Codes, codes_at};
use super::curvature::{MedianCurvature, median_curvature, noise_about};
use super::levels::{Levels, Tally};
use super::step::quantisation_step;
use rayon::prelude::*;

/// Standard deviation of the noise from sample to sample.
///
/// From second differences, so that slopes do not count, without those beyond four robust standard deviations, so that
/// edges and needles do not either. White noise of standard deviation s gives s; smooth signals below the code step
/// give less than a third of it. `None` when no difference is left or all are zero: the noise is then below what the
/// codes show, which is unknown, not zero.
pub fn noise(values: &[f64]) -> Option<f64> {
    noise_about(values, median_curvature(values)?, quantisation_step(values))
}

/// [`codes`](super::codes()) and [`noise`] at once, so that a long column is gone through twice in place of four times.
pub fn codes_and_noise(values: &[f64], overrange: &[(usize, bool)]) -> (Codes, Option<f64>) {
    let sought = MedianCurvature::about(values);
    let (tally, mut curvature) = (0..values.len().div_ceil(STRETCH))
        .into_par_iter()
        .with_min_len(8)
        .map(|k| k * STRETCH..(k * STRETCH + STRETCH).min(values.len()))
        .fold(
            || (Some(Tally::new()), sought.clone()),
            |(tally, mut curvature), rows| {
                curvature.take(&values[rows.start..(rows.end + 2).min(values.len())]);
                (tally.and_then(|tally| tally.with(&values[rows])), curvature)
            },
        )
        .reduce(
            || (Some(Tally::new()), sought.clone()),
            |one, other| {
                let tally = one.0.zip(other.0).and_then(|(one, other)| one.and(&other));
                (tally, one.1.and(other.1))
            },
        );
    let codes = codes_at(values, overrange, &Levels::of(values, tally));
    let median = curvature.found().or_else(|| median_curvature(values));
    let noise = median.and_then(|median| noise_about(values, median, codes.step));
    (codes, noise)
}

/// Samples a task.
const STRETCH: usize = 1 << 16;

#[cfg(test)]
mod tests {
    use super::*;
    use rand::SeedableRng;
    use rand_distr::{Distribution, Normal};

    #[test]
    fn noise_is_measured_on_a_slope_with_edges() {
        let mut random = rand::rngs::StdRng::seed_from_u64(7);
        let normal = Normal::new(0.0, 0.02).unwrap();
        let values: Vec<f64> = (0..20_000)
            .map(|k| {
                let edge = if (k / 1000) % 2 == 0 { 0.0 } else { 5.0 };
                edge + f64::from(k) * 1e-3 + normal.sample(&mut random)
            })
            .collect();
        let deviation = noise(&values).unwrap();
        assert!((deviation / 0.02 - 1.0).abs() < 0.03, "{deviation}");
        assert_eq!(noise(&[1.0; 50]), None);
    }
}
