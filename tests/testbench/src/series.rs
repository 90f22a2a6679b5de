//! Settings as the knobs of an instrument have them.

/// Smallest `mantissa · 10^n` that is at least `value`.
pub(crate) fn series_above(value: f64, mantissas: &[f64]) -> f64 {
    let exponent = libm::floor(libm::log10(value)) as i32;
    for decade in exponent - 1..=exponent + 1 {
        for mantissa in mantissas {
            // Parsed, not multiplied: 2e-5 is then the same number the person would type.
            let text = format!("{mantissa}e{decade}");
            let candidate: f64 = text.parse().unwrap_or(f64::MAX);
            if candidate >= value * (1.0 - 1e-12) {
                return candidate;
            }
        }
    }
    value
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_setting_of_the_series_is_taken_as_it_is_and_others_are_rounded_up() {
        assert_eq!(series_above(1.9e-5, &[1.0, 2.0, 5.0]), 2e-5);
        assert_eq!(series_above(2e-5, &[1.0, 2.0, 5.0]), 2e-5);
    }
}
