//! Correlation along an evenly indexed record.

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

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

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
        assert_relative_eq!(white_noise_band(400), 0.098, max_relative = 1e-4);
    }
}
