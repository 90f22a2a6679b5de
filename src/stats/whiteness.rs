//! Are residuals independent? A runs test for their signs.

use super::quantiles::normal_two_sided_tail;
use super::{StatsError, all_finite};

/// Number of runs of equal sign, held against independence.
#[derive(Debug, Clone, Copy, PartialEq)]
#[non_exhaustive]
pub struct RunsTest {
    /// Runs counted.
    pub runs: usize,
    /// Values above the threshold.
    pub above: usize,
    /// Values below the threshold.
    pub below: usize,
    /// Runs expected of independent values with these counts.
    pub expected: f64,
    /// Standard score; negative means too few runs, hence correlated or misfitted residuals.
    pub z: f64,
    /// Two-sided, normal approximation, good from about ten values on either side.
    pub p_value: f64,
}

/// Wald & Wolfowitz 1940: runs above and below `threshold` (zero for residuals). Values equal to it are left out.
///
/// # Errors
/// When a value is not finite, or all lie on one side.
pub fn runs_test(values: &[f64], threshold: f64) -> Result<RunsTest, StatsError> {
    all_finite("runs test", values)?;
    let signs: Vec<bool> = values
        .iter()
        .filter(|value| **value != threshold)
        .map(|value| *value > threshold)
        .collect();
    let above = signs.iter().filter(|sign| **sign).count();
    let below = signs.len() - above;
    if above == 0 || below == 0 || signs.len() < 3 {
        return Err(StatsError::NoVariation { what: "runs test" });
    }
    let runs = 1 + signs.windows(2).filter(|pair| pair[0] != pair[1]).count();
    let (a, b) = (above as f64, below as f64);
    let n = a + b;
    let expected = 1.0 + 2.0 * a * b / n;
    let variance = 2.0 * a * b * (2.0 * a * b - n) / (n * n * (n - 1.0));
    let z = (runs as f64 - expected) / variance.sqrt();
    Ok(RunsTest {
        runs,
        above,
        below,
        expected,
        z,
        p_value: normal_two_sided_tail(z),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    const SLOW_WAVE: [f64; 20] = [
        0.62, 0.41, -0.13, -0.88, -0.52, 0.07, 0.95, 1.31, 0.44, -0.29, -1.02, -0.67, -0.35, 0.18,
        0.73, 1.10, 0.26, -0.58, -0.91, -0.14,
    ];

    /// statsmodels 0.15.0, `sandbox.stats.runs.runstest_1samp(x, cutoff=0, correction=False)`.
    #[test]
    fn val_runs_test() {
        let test = runs_test(&SLOW_WAVE, 0.0).unwrap();
        assert_eq!((test.runs, test.above, test.below), (6, 10, 10));
        assert_relative_eq!(test.z, -2.2973414586817036, max_relative = 1e-12);
        assert_relative_eq!(test.p_value, 0.021599298490998158, max_relative = 1e-9);
    }

    #[test]
    fn what_cannot_be_judged_is_refused() {
        assert!(runs_test(&[1.0, 2.0, 3.0], 0.0).is_err());
        assert!(runs_test(&[1.0, f64::NAN, -1.0], 0.0).is_err());
        assert!(runs_test(&[], 0.0).is_err());
    }

    #[test]
    fn values_on_the_threshold_are_left_out() {
        let test = runs_test(&[1.0, 0.0, 1.0, -1.0, 0.0, -1.0, 1.0], 0.0).unwrap();
        assert_eq!((test.runs, test.above, test.below), (3, 3, 2));
    }
}
