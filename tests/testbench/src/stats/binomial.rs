//! Interval for a proportion from counts: how well a measured coverage is itself known.

use super::Invalid;
use statrs::distribution::{Beta, ContinuousCDF};

/// Interval that contains the true proportion with at least probability `level` (0.95 for 95 %), whatever it is
/// (Clopper & Pearson 1934).
///
/// # Errors
/// For no trials, more successes than trials, or a level outside 0 to 1.
pub fn clopper_pearson(successes: u64, trials: u64, level: f64) -> Result<(f64, f64), Invalid> {
    if !(level > 0.0 && level < 1.0) {
        return Err(Invalid("the level of an interval lies between 0 and 1"));
    }
    if trials == 0 || successes > trials {
        return Err(Invalid(
            "there are trials, and no more successes than trials",
        ));
    }
    let tail = 0.5 * (1.0 - level);
    let (k, n) = (successes as f64, trials as f64);
    let quantile =
        |probability, a, b| Beta::new(a, b).map_or(f64::NAN, |beta| beta.inverse_cdf(probability));
    let lower = if successes == 0 {
        0.0
    } else {
        quantile(tail, k, n - k + 1.0)
    };
    let upper = if successes == trials {
        1.0
    } else {
        quantile(1.0 - tail, k + 1.0, n - k)
    };
    Ok((lower, upper))
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// scipy 1.17.1, `scipy.stats.binomtest(k, n).proportion_ci(0.95, "exact")`.
    #[test]
    fn val_exact_intervals() {
        for (successes, trials, lower, upper) in [
            (475, 500, 0.927072378349521, 0.9673848198506764),
            (0, 20, 0.0, 0.16843347098308548),
            (20, 20, 0.8315665290169145, 1.0),
            (7, 10, 0.3475471499399921, 0.9332604888222655),
        ] {
            let (low, high) = clopper_pearson(successes, trials, 0.95).unwrap();
            assert_abs_diff_eq!(low, lower, epsilon = 1e-7);
            assert_abs_diff_eq!(high, upper, epsilon = 1e-7);
        }
    }

    #[test]
    fn impossible_counts_are_refused() {
        assert!(clopper_pearson(1, 0, 0.95).is_err());
        assert!(clopper_pearson(3, 2, 0.95).is_err());
        assert!(clopper_pearson(1, 2, 1.0).is_err());
    }
}
