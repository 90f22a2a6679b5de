//! Quantiles and tails of the normal, Student and chi-squared distributions, on statrs.
//!
//! A probability outside 0 to 1, or degrees of freedom that are not positive, give NaN: a quantile has no value there,
//! and NaN shows in every output.

use statrs::distribution::{ChiSquared, ContinuousCDF, Normal, StudentsT};

/// Degrees of freedom beyond which Student's distribution is taken for normal: the quantiles then differ by less than
/// one part in 1e7.
const PRACTICALLY_NORMAL: f64 = 1e8;

fn standard_normal() -> Normal {
    Normal::standard()
}

/// z with P(Z ≤ z) = `probability` for a standard normal Z.
pub fn normal_quantile(probability: f64) -> f64 {
    if !(0.0..=1.0).contains(&probability) {
        return f64::NAN;
    }
    standard_normal().inverse_cdf(probability)
}

/// P(Z ≤ `z`) for a standard normal Z.
pub fn normal_cdf(z: f64) -> f64 {
    standard_normal().cdf(z)
}

/// P(|Z| > |`z`|) for a standard normal Z: the two-sided p-value.
pub fn normal_two_sided_tail(z: f64) -> f64 {
    2.0 * standard_normal().sf(z.abs())
}

/// t with P(T ≤ t) = `probability` for Student's T; infinite degrees of freedom mean the normal distribution.
pub fn student_t_quantile(probability: f64, degrees_of_freedom: f64) -> f64 {
    if !(0.0..=1.0).contains(&probability) || degrees_of_freedom.is_nan() {
        return f64::NAN;
    }
    if degrees_of_freedom > PRACTICALLY_NORMAL {
        return normal_quantile(probability);
    }
    match StudentsT::new(0.0, 1.0, degrees_of_freedom) {
        Ok(distribution) => distribution.inverse_cdf(probability),
        Err(_) => f64::NAN,
    }
}

/// x with P(X ≤ x) = `probability` for chi-squared X.
pub fn chi_squared_quantile(probability: f64, degrees_of_freedom: f64) -> f64 {
    if !(0.0..=1.0).contains(&probability) {
        return f64::NAN;
    }
    match ChiSquared::new(degrees_of_freedom) {
        Ok(distribution) => distribution.inverse_cdf(probability),
        Err(_) => f64::NAN,
    }
}

/// P(X > `x`) for chi-squared X: the p-value of a sum of squares or of twice a log-likelihood ratio.
pub fn chi_squared_upper_tail(x: f64, degrees_of_freedom: f64) -> f64 {
    match ChiSquared::new(degrees_of_freedom) {
        Ok(distribution) if !x.is_nan() => distribution.sf(x.max(0.0)),
        _ => f64::NAN,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// NIST/SEMATECH e-Handbook of Statistical Methods, 1.3.6.7 (values computed with scipy 1.17.1,
    /// `scipy.stats.t.ppf` and `chi2.ppf`, which agree with the tables).
    #[test]
    fn val_student_and_chi_squared_tables() {
        let table = [
            (1.0, [6.314, 12.706, 63.657, 0.001, 0.004, 3.841, 5.024]),
            (2.0, [2.920, 4.303, 9.925, 0.051, 0.103, 5.991, 7.378]),
            (3.0, [2.353, 3.182, 5.841, 0.216, 0.352, 7.815, 9.348]),
            (4.0, [2.132, 2.776, 4.604, 0.484, 0.711, 9.488, 11.143]),
            (5.0, [2.015, 2.571, 4.032, 0.831, 1.145, 11.070, 12.833]),
            (10.0, [1.812, 2.228, 3.169, 3.247, 3.940, 18.307, 20.483]),
            (12.0, [1.782, 2.179, 3.055, 4.404, 5.226, 21.026, 23.337]),
            (20.0, [1.725, 2.086, 2.845, 9.591, 10.851, 31.410, 34.170]),
            (30.0, [1.697, 2.042, 2.750, 16.791, 18.493, 43.773, 46.979]),
            (60.0, [1.671, 2.000, 2.660, 40.482, 43.188, 79.082, 83.298]),
            (
                120.0,
                [1.658, 1.980, 2.617, 91.573, 95.705, 146.567, 152.211],
            ),
        ];
        for (degrees, row) in table {
            for (probability, expected) in [(0.95, row[0]), (0.975, row[1]), (0.995, row[2])] {
                assert_abs_diff_eq!(
                    student_t_quantile(probability, degrees),
                    expected,
                    epsilon = 5.1e-4
                );
            }
            for (probability, expected) in [
                (0.025, row[3]),
                (0.05, row[4]),
                (0.95, row[5]),
                (0.975, row[6]),
            ] {
                let quantile = chi_squared_quantile(probability, degrees);
                assert_abs_diff_eq!(quantile, expected, epsilon = 5.1e-4);
                assert_abs_diff_eq!(
                    chi_squared_upper_tail(quantile, degrees),
                    1.0 - probability,
                    epsilon = 1e-8
                );
            }
        }
    }

    /// JCGM 100:2008, table G.2.
    #[test]
    fn val_gum_table_of_student_factors() {
        let table = [
            (1.0, [1.84, 6.31, 12.71, 13.97, 63.66, 235.80]),
            (2.0, [1.32, 2.92, 4.30, 4.53, 9.92, 19.21]),
            (5.0, [1.11, 2.02, 2.57, 2.65, 4.03, 5.51]),
            (10.0, [1.05, 1.81, 2.23, 2.28, 3.17, 3.96]),
            (20.0, [1.03, 1.72, 2.09, 2.13, 2.85, 3.42]),
            (f64::INFINITY, [1.00, 1.645, 1.960, 2.000, 2.576, 3.000]),
        ];
        let levels = [0.6827, 0.90, 0.95, 0.9545, 0.99, 0.9973];
        for (degrees, row) in table {
            for (level, expected) in levels.into_iter().zip(row) {
                // The levels of one to three sigmas are themselves rounded in the fourth digit, which moves the far
                // tail of one degree of freedom by 0.02.
                let tolerance = if expected > 100.0 { 0.03 } else { 0.0051 };
                assert_abs_diff_eq!(
                    student_t_quantile(0.5 + 0.5 * level, degrees),
                    expected,
                    epsilon = tolerance
                );
            }
        }
    }

    /// NIST/SEMATECH e-Handbook, 1.3.6.7.1.
    #[test]
    fn val_normal_quantiles() {
        for (probability, expected) in [
            (0.95, 1.644854),
            (0.975, 1.959964),
            (0.995, 2.575829),
            (0.9995, 3.290527),
        ] {
            assert_abs_diff_eq!(normal_quantile(probability), expected, epsilon = 5e-7);
            assert_abs_diff_eq!(normal_cdf(expected), probability, epsilon = 1e-7);
            assert_abs_diff_eq!(
                normal_two_sided_tail(-expected),
                2.0 * (1.0 - probability),
                epsilon = 2e-7
            );
        }
    }

    #[test]
    fn what_has_no_quantile_is_not_a_number() {
        assert!(normal_quantile(1.2).is_nan());
        assert!(student_t_quantile(0.9, 0.0).is_nan());
        assert!(student_t_quantile(0.9, f64::NAN).is_nan());
        assert!(chi_squared_quantile(0.9, -1.0).is_nan());
        assert!(chi_squared_upper_tail(f64::NAN, 3.0).is_nan());
        assert_eq!(normal_quantile(1.0), f64::INFINITY);
        assert_eq!(chi_squared_upper_tail(-1.0, 3.0), 1.0);
    }
}
