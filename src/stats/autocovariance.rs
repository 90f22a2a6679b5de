//! Correlation along an evenly indexed record, and how many independent samples it is worth.

use super::{StatsError, all_finite};

/// Autocovariances at lags 0 to `max_lag` about the mean, `c_k = (1/n) Σ (x_t − m)(x_{t+k} − m)`, in the square of the
/// unit of the values. The divisor n makes the sequence positive semidefinite (Box & Jenkins, §2.1.5).
///
/// # Errors
/// For fewer than two values, a lag not below their number, or a value that is not finite.
pub fn autocovariance(values: &[f64], max_lag: usize) -> Result<Vec<f64>, StatsError> {
    let n = values.len();
    if n < 2 || max_lag >= n {
        return Err(StatsError::TooFew {
            what: "autocovariance",
            found: n,
            needed: (max_lag + 1).max(2),
        });
    }
    all_finite("autocovariance", values)?;
    let mean = values.iter().sum::<f64>() / n as f64;
    let centred: Vec<f64> = values.iter().map(|value| value - mean).collect();
    Ok((0..=max_lag)
        .map(|lag| {
            let products = centred[lag..].iter().zip(&centred);
            products.map(|(a, b)| a * b).sum::<f64>() / n as f64
        })
        .collect())
}

/// Autocorrelations at lags 0 to `max_lag`; the first is 1.
///
/// # Errors
/// As [`autocovariance`], and when all values are equal.
pub fn autocorrelation(values: &[f64], max_lag: usize) -> Result<Vec<f64>, StatsError> {
    let covariances = autocovariance(values, max_lag)?;
    let variance = covariances[0];
    if variance <= 0.0 {
        return Err(StatsError::NoVariation {
            what: "autocorrelation",
        });
    }
    Ok(covariances.iter().map(|c| c / variance).collect())
}

/// Half-width of the band in which 95 % of the autocorrelations of n white samples lie (Box & Jenkins).
pub fn white_noise_band(samples: usize) -> f64 {
    1.959_963_984_540_054 / (samples as f64).sqrt()
}

/// Number of independent samples whose mean has the variance of the mean of `samples` samples of a first-order
/// autoregression with lag-one correlation r: `n / (1 + 2 Σ_{k=1}^{n−1} (1 − k/n) r^k)` (Bayley & Hammersley 1946).
///
/// # Errors
/// For no samples or r outside −1 to 1.
pub fn ar1_effective_size(samples: usize, correlation: f64) -> Result<f64, StatsError> {
    check_ar1(samples, correlation)?;
    let n = samples as f64;
    let r = correlation;
    // Closed form of the sum: Σ_{k=1}^{n−1} (1 − k/n) r^k = r/(1−r) − r (1 − rⁿ) / (n (1−r)²).
    let magnitude = r.abs().powf(n);
    let power = if r < 0.0 && samples % 2 == 1 {
        -magnitude
    } else {
        magnitude
    };
    let sum = r / (1.0 - r) - r * (1.0 - power) / (n * (1.0 - r).powi(2));
    Ok(n / (1.0 + 2.0 * sum))
}

/// The same for a record much longer than its correlation: `n (1 − r)/(1 + r)`.
///
/// # Errors
/// As [`ar1_effective_size`].
pub fn ar1_effective_size_long(samples: usize, correlation: f64) -> Result<f64, StatsError> {
    check_ar1(samples, correlation)?;
    Ok(samples as f64 * (1.0 - correlation) / (1.0 + correlation))
}

fn check_ar1(samples: usize, correlation: f64) -> Result<(), StatsError> {
    if samples == 0 {
        return Err(StatsError::TooFew {
            what: "effective sample size",
            found: 0,
            needed: 1,
        });
    }
    if !(correlation > -1.0 && correlation < 1.0) {
        return Err(StatsError::OutOfRange {
            what: "lag-one correlation",
            value: correlation,
            range: "between -1 and 1",
        });
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::{assert_abs_diff_eq, assert_relative_eq};

    /// Bayley & Hammersley 1946, Box & Jenkins; evaluated from their formulas.
    #[test]
    fn val_effective_size_of_a_first_order_autoregression() {
        for (r, long, exact) in [
            (0.3, 538.4615, 538.8168),
            (0.5, 333.3333, 333.7784),
            (0.9, 52.6316, 53.1350),
            (0.95, 25.6410, 26.1506),
        ] {
            assert_abs_diff_eq!(
                ar1_effective_size_long(1000, r).unwrap(),
                long,
                epsilon = 5.1e-5
            );
            assert_abs_diff_eq!(
                ar1_effective_size(1000, r).unwrap(),
                exact,
                epsilon = 5.1e-5
            );
        }
        for (r, exact) in [(0.5, 7.142857), (0.9, 1.802745)] {
            assert_abs_diff_eq!(ar1_effective_size(20, r).unwrap(), exact, epsilon = 5.1e-5);
        }
    }

    #[test]
    fn the_closed_form_equals_the_sum_for_both_signs() {
        for n in [1_usize, 2, 5, 8] {
            for r in [-0.9, -0.4, 0.0, 0.7] {
                let sum: f64 = (1..n)
                    .map(|k| (1.0 - k as f64 / n as f64) * f64::powi(r, k as i32))
                    .sum();
                assert_relative_eq!(
                    ar1_effective_size(n, r).unwrap(),
                    n as f64 / (1.0 + 2.0 * sum),
                    max_relative = 1e-12
                );
            }
        }
    }

    #[test]
    fn autocovariances_by_hand() {
        // Mean 2, deviations −1, 0, 1, 0: c0 = 2/4, c1 = 0, c2 = −1/4.
        let covariances = autocovariance(&[1.0, 2.0, 3.0, 2.0], 2).unwrap();
        assert_eq!(covariances, [0.5, 0.0, -0.25]);
        let correlations = autocorrelation(&[1.0, 2.0, 3.0, 2.0], 2).unwrap();
        assert_eq!(correlations, [1.0, 0.0, -0.5]);
    }

    #[test]
    fn what_has_no_correlation_is_refused() {
        assert!(autocorrelation(&[4.0, 4.0, 4.0], 1).is_err());
        assert!(autocovariance(&[1.0, 2.0], 2).is_err());
        assert!(ar1_effective_size(10, 1.0).is_err());
        assert!(ar1_effective_size(0, 0.5).is_err());
        assert!(ar1_effective_size_long(10, f64::NAN).is_err());
        assert_relative_eq!(white_noise_band(400), 0.098, max_relative = 1e-4);
    }
}
