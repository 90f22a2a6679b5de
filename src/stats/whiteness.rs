//! Are residuals independent? A runs test for their signs and a portmanteau test for their autocorrelations.

use super::autocovariance::autocorrelation;
use super::quantiles::{chi_squared_upper_tail, normal_two_sided_tail};
use super::{StatsError, all_finite};

/// Number of runs of equal sign, held against independence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct RunsTest {
    /// Runs counted.
    pub runs: usize,
    pub above: usize,
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

/// Sum of squared autocorrelations, held against independence.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PortmanteauTest {
    /// Q of Ljung & Box.
    pub statistic: f64,
    pub degrees_of_freedom: usize,
    pub p_value: f64,
}

/// Ljung & Box 1978: `Q = n (n + 2) Σ_{k=1}^{lags} r_k² / (n − k)`, chi-squared with `lags − fitted` degrees of freedom,
/// where `fitted` counts the parameters of a noise model taken off before (0 for plain residuals).
///
/// # Errors
/// As [`autocorrelation`], and when no degree of freedom is left.
pub fn ljung_box(
    values: &[f64],
    lags: usize,
    fitted: usize,
) -> Result<PortmanteauTest, StatsError> {
    if lags <= fitted {
        return Err(StatsError::TooFew {
            what: "lags of the portmanteau test",
            found: lags,
            needed: fitted + 1,
        });
    }
    let n = values.len() as f64;
    let correlations = autocorrelation(values, lags)?;
    let sum: f64 = correlations
        .iter()
        .enumerate()
        .skip(1)
        .map(|(lag, r)| r * r / (n - lag as f64))
        .sum();
    let statistic = n * (n + 2.0) * sum;
    let degrees_of_freedom = lags - fitted;
    Ok(PortmanteauTest {
        statistic,
        degrees_of_freedom,
        p_value: chi_squared_upper_tail(statistic, degrees_of_freedom as f64),
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

    /// statsmodels 0.15.0, `stats.diagnostic.acorr_ljungbox` with lags 1, 4, 6 and, last, `model_df=2`.
    #[test]
    fn val_portmanteau_statistic() {
        for (lags, fitted, statistic, p_value) in [
            (1, 0, 7.992640209970873, 0.004696787476812879),
            (4, 0, 35.640453067030066, 3.430826822935836e-7),
            (6, 0, 39.82892763066665, 4.921681014129383e-7),
            (6, 2, 39.82892763066665, 4.695750246544546e-8),
        ] {
            let test = ljung_box(&SLOW_WAVE, lags, fitted).unwrap();
            assert_relative_eq!(test.statistic, statistic, max_relative = 1e-12);
            assert_relative_eq!(test.p_value, p_value, max_relative = 1e-6);
            assert_eq!(test.degrees_of_freedom, lags - fitted);
        }
    }

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
        assert!(ljung_box(&SLOW_WAVE, 2, 2).is_err());
        assert!(ljung_box(&SLOW_WAVE, 20, 0).is_err());
        assert!(ljung_box(&[3.0; 20], 4, 0).is_err());
    }

    #[test]
    fn values_on_the_threshold_are_left_out() {
        let test = runs_test(&[1.0, 0.0, 1.0, -1.0, 0.0, -1.0, 1.0], 0.0).unwrap();
        assert_eq!((test.runs, test.above, test.below), (3, 3, 2));
    }
}
