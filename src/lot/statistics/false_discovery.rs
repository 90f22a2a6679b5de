//! Many tests at once: which of them count, with the share of false ones among them limited.
//!
//! The step-up rule of Benjamini and Hochberg (J. R. Statist. Soc. B 57 (1995) 289-300): the expected share of false findings among
//! all findings is at most the rate, for independent tests and for those that depend on each other positively.

/// Adjusted p-values, in the order given: the least rate at which each would be found. A p-value that is not a number
/// counts as 1.
pub fn adjusted(p_values: &[f64]) -> Vec<f64> {
    let n = p_values.len();
    let p = |k: usize| {
        if p_values[k].is_nan() {
            1.0
        } else {
            p_values[k]
        }
    };
    let mut order: Vec<usize> = (0..n).collect();
    order.sort_by(|a, b| p(*b).total_cmp(&p(*a)));
    let mut out = vec![1.0; n];
    let mut least = 1.0f64;
    for (behind, &k) in order.iter().enumerate() {
        least = least.min(p(k) * n as f64 / (n - behind) as f64);
        out[k] = least;
    }
    out
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_abs_diff_eq;

    /// Benjamini and Hochberg 1995, section 3.2: of these fifteen p-values the rule finds the four smallest at 0.05.
    /// Adjusted values: statsmodels 0.15.0, `multipletests(..., method="fdr_bh")`.
    #[test]
    fn val_the_example_of_the_paper() {
        let p = [
            0.0001, 0.0004, 0.0019, 0.0095, 0.0201, 0.0278, 0.0298, 0.0344, 0.0459, 0.3240, 0.4262,
            0.5719, 0.6528, 0.7590, 1.0,
        ];
        let expected = [
            0.0015, 0.003, 0.0095, 0.035625, 0.0603, 0.06385714, 0.06385714, 0.0645, 0.0765, 0.486,
            0.58118182, 0.714875, 0.75323077, 0.81321429, 1.0,
        ];
        let found = adjusted(&p);
        for (found, expected) in found.iter().zip(expected) {
            assert_abs_diff_eq!(*found, expected, epsilon = 1e-8);
        }
        assert_eq!(found.iter().filter(|q| **q <= 0.05).count(), 4);
    }

    #[test]
    fn order_does_not_matter_and_no_number_is_no_finding() {
        assert_eq!(adjusted(&[0.04, 0.01]), [0.04, 0.02]);
        assert_eq!(adjusted(&[f64::NAN, 0.01]), [1.0, 0.02]);
        assert!(adjusted(&[]).is_empty());
    }
}
