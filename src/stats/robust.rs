//! Centre and scale that a few needles, clipped peaks or steps do not move.

use super::order_statistic::OrderStatistic;
use super::{StatsError, all_finite, simd};

/// 1 / Φ⁻¹(3/4): turns the median absolute deviation of normal noise into its standard deviation.
const NORMAL_CONSISTENCY: f64 = 1.482_602_218_505_602;

/// Median of finite values; the mean of the two middle ones for an even count.
///
/// # Errors
/// For no values, or one that is not finite.
pub fn median(values: &[f64]) -> Result<f64, StatsError> {
    if values.is_empty() {
        return Err(StatsError::TooFew {
            what: "median",
            found: 0,
            needed: 1,
        });
    }
    all_finite("median", values)?;
    Ok(median_in_place(&mut values.to_vec()))
}

fn median_in_place(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    let (below, &mut upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    if below.len() < middle || values.len() % 2 == 1 {
        return upper;
    }
    let lower = values[..middle].iter().copied().fold(f64::MIN, f64::max);
    lower + 0.5 * (upper - lower)
}

/// Median absolute deviation from the median, in the unit of the values, without any factor.
///
/// # Errors
/// As [`median`].
pub fn median_absolute_deviation(values: &[f64]) -> Result<f64, StatsError> {
    let centre = median(values)?;
    let mut deviations: Vec<f64> = values.iter().map(|value| (value - centre).abs()).collect();
    Ok(median_in_place(&mut deviations))
}

/// Standard deviation of the noise under the values, unmoved by up to half of them being outliers; consistent for
/// normal noise (Hampel 1974), 37 % efficient there. Zero when more than half of the values are equal, as in a record
/// of few quantisation steps.
///
/// # Errors
/// As [`median`].
pub fn robust_standard_deviation(values: &[f64]) -> Result<f64, StatsError> {
    Ok(NORMAL_CONSISTENCY * median_absolute_deviation(values)?)
}

/// Standard deviation of white noise under a slowly varying signal, from first differences divided by √2.
/// Correlated noise makes it too small.
///
/// # Errors
/// As [`median`], for fewer than two values.
pub fn noise_from_differences(values: &[f64]) -> Result<f64, StatsError> {
    if values.len() < 2 {
        return Err(StatsError::TooFew {
            what: "noise from differences",
            found: values.len(),
            needed: 2,
        });
    }
    all_finite("noise from differences", values)?;
    let difference = |[a, b]: [f64; 2]| b - a;
    if simd::count(values, |pair| !difference(pair).is_finite()) > 0 {
        let differences: Vec<f64> = values.windows(2).map(|pair| pair[1] - pair[0]).collect();
        all_finite("median", &differences)?;
    }
    let centre = median_of(values, difference);
    let deviation = median_of(values, |pair| (difference(pair) - centre).abs());
    Ok(NORMAL_CONSISTENCY * deviation / std::f64::consts::SQRT_2)
}

/// [`median`] of what `of` makes of each window of `N` neighbours, of which there is one at least, without a copy of a long record.
fn median_of<const N: usize>(values: &[f64], of: impl Fn([f64; N]) -> f64) -> f64 {
    let count = values.len() + 1 - N;
    let seek = |mut sought: OrderStatistic| {
        sought.take(values, &of);
        let upper = sought.ranked(count / 2)?;
        if count % 2 == 1 {
            return Some(upper);
        }
        let lower = sought.ranked(count / 2 - 1)?;
        Some(lower + 0.5 * (upper - lower))
    };
    seek(OrderStatistic::about_middle(values, &of))
        .or_else(|| seek(OrderStatistic::anywhere()))
        .unwrap_or(f64::NAN)
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::SeedableRng;
    use rand_distr::{Distribution, StandardNormal};

    #[test]
    fn medians_of_odd_and_even_counts() {
        assert_eq!(median(&[3.0, 1.0, 2.0]).unwrap(), 2.0);
        assert_eq!(median(&[4.0, 1.0, 2.0, 3.0]).unwrap(), 2.5);
        assert_eq!(median(&[-7.0]).unwrap(), -7.0);
        assert_eq!(median(&[5.0, 5.0, 5.0, 5.0]).unwrap(), 5.0);
    }

    /// scipy 1.17.1, `scipy.stats.median_abs_deviation([1, 1, 2, 2, 4, 6, 9])` = 1.0 and with `scale="normal"`
    /// 1.482602218505602.
    #[test]
    fn val_median_absolute_deviation() {
        let values = [1.0, 1.0, 2.0, 2.0, 4.0, 6.0, 9.0];
        assert_eq!(median_absolute_deviation(&values).unwrap(), 1.0);
        assert_relative_eq!(
            robust_standard_deviation(&values).unwrap(),
            1.482602218505602
        );
    }

    #[test]
    fn a_tenth_of_needles_hardly_moves_the_scale() {
        let mut random = rand::rngs::StdRng::seed_from_u64(5);
        let mut values: Vec<f64> = (0..20_000)
            .map(|_| {
                let z: f64 = StandardNormal.sample(&mut random);
                0.3 * z
            })
            .collect();
        assert_relative_eq!(
            robust_standard_deviation(&values).unwrap(),
            0.3,
            max_relative = 0.03
        );
        assert_relative_eq!(
            noise_from_differences(&values).unwrap(),
            0.3,
            max_relative = 0.03
        );
        for value in values.iter_mut().step_by(10) {
            *value = 1e6;
        }
        assert_relative_eq!(
            robust_standard_deviation(&values).unwrap(),
            0.3,
            max_relative = 0.2
        );
    }

    #[test]
    fn noise_of_a_long_record_is_that_of_a_copy_of_its_differences() {
        let mut random = rand::rngs::StdRng::seed_from_u64(6);
        for (step, rows) in [(1e-9, 200_001), (0.25, 200_000), (1.0, 70_000), (0.1, 99)] {
            let values: Vec<f64> = (0..rows)
                .map(|k| {
                    let z: f64 = StandardNormal.sample(&mut random);
                    ((1e-4 * f64::from(k) + 0.3 * z) / step).round() * step
                })
                .collect();
            let differences: Vec<f64> = values.windows(2).map(|w| w[1] - w[0]).collect();
            let copied = robust_standard_deviation(&differences).unwrap() / 2f64.sqrt();
            assert_eq!(noise_from_differences(&values), Ok(copied));
        }
        // Every pair that is looked at rests.
        let still: Vec<f64> = (0..400_000)
            .map(|k| f64::from(u8::from(k % 24 > 1)) * f64::from(k))
            .collect();
        let differences: Vec<f64> = still.windows(2).map(|w| w[1] - w[0]).collect();
        let copied = robust_standard_deviation(&differences).unwrap() / 2f64.sqrt();
        assert_eq!(noise_from_differences(&still), Ok(copied));
        assert!(noise_from_differences(&[f64::MAX, f64::MIN]).is_err());
    }

    #[test]
    fn nothing_and_nan_are_refused() {
        assert!(median(&[]).is_err());
        assert_eq!(
            median(&[1.0, f64::NAN]).unwrap_err().to_string(),
            "median: value 1 is NaN, not a finite number"
        );
        assert!(noise_from_differences(&[1.0]).is_err());
    }
}
