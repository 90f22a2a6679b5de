//! A chi-squared in standard uncertainties of a normal distribution.

/// Standard uncertainties at which a normal distribution is exceeded as rarely as this chi-squared with so many degrees of freedom, by its cube root
/// (E. B. Wilson, M. M. Hilferty 1931, PNAS 17, 684-688, from memory); not below zero.
pub fn normal_equivalent(chi_squared: f64, degrees: f64) -> f64 {
    let variance = 2.0 / (9.0 * degrees);
    (((chi_squared / degrees).cbrt() - (1.0 - variance)) / variance.sqrt()).max(0.0)
}

#[cfg(test)]
mod tests {
    use super::normal_equivalent;

    /// Upper 5 % and 0.1 % points of chi-squared with 10 degrees of freedom, 18.307 and 29.588 (NIST/SEMATECH e-Handbook of Statistical
    /// Methods, 1.3.6.7.4), and of the normal distribution, 1.645 and 3.090.
    #[test]
    fn val_chi_squared_in_standard_uncertainties() {
        assert!((normal_equivalent(18.307, 10.0) - 1.645).abs() < 0.02);
        assert!((normal_equivalent(29.588, 10.0) - 3.090).abs() < 0.03);
        assert_eq!(normal_equivalent(1.0, 10.0), 0.0);
    }
}
