//! Steps in which things are sold and set: scope ranges, shunts, fuses, resistors.

/// Shunts as they are sold, Ω (common practice, no source).
pub const SHUNTS_OHM: [f64; 13] = [
    0.5e-3, 1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.22, 0.47, 1.0, 2.2, 4.7,
];

/// Ratings of time-lag fuse links, A: the series of IEC 60127-2 (from memory), above 10 A common automotive blades (common
/// practice, no source).
pub const FUSES_A: [f64; 29] = [
    0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8, 1.0, 1.25, 1.6,
    2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 15.0, 20.0, 30.0, 40.0, 60.0,
];

/// Smallest of a rising list that is not below `least`.
pub fn at_least(list: &[f64], least: f64) -> Option<f64> {
    list.iter().copied().find(|v| *v >= least * (1.0 - 1e-12))
}

/// Largest of a rising list that is not above `most`.
pub fn at_most(list: &[f64], most: f64) -> Option<f64> {
    list.iter()
        .rev()
        .copied()
        .find(|v| *v <= most * (1.0 + 1e-12))
}

/// Smallest number of the form 1, 2 or 5 times a power of ten that is not below `least` (above zero).
pub fn one_two_five_up(least: f64) -> f64 {
    let decade = 10f64.powf(least.log10().floor());
    [1.0, 2.0, 5.0, 10.0]
        .iter()
        .map(|m| m * decade)
        .find(|v| *v >= least * (1.0 - 1e-9))
        .unwrap_or(10.0 * decade)
}

/// Nearest resistor of the E3 steps 1, 2.2, 4.7 (IEC 60063) to `value`, in ratio.
pub fn resistor_near(value: f64) -> f64 {
    let decade = 10f64.powf(value.log10().floor());
    [1.0, 2.2, 4.7, 10.0]
        .iter()
        .map(|m| m * decade)
        .min_by(|a, b| (a / value).ln().abs().total_cmp(&(b / value).ln().abs()))
        .unwrap_or(decade)
}

/// Largest number with one digit, or a half more, that is not above `most`: a voltage a person can set.
pub fn settable_down(most: f64) -> f64 {
    let decade = 10f64.powf(most.log10().floor());
    let halves = (most / decade * 2.0 + 1e-9).floor() / 2.0;
    halves * decade
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;

    #[test]
    fn steps_go_up_and_down_as_said() {
        assert_relative_eq!(one_two_five_up(3.1), 5.0);
        assert_relative_eq!(one_two_five_up(0.05), 0.05);
        assert_relative_eq!(one_two_five_up(5.2e-4), 1e-3);
        assert_relative_eq!(settable_down(3.74), 3.5);
        assert_relative_eq!(settable_down(0.0199), 0.015);
        assert_relative_eq!(resistor_near(3.4), 4.7);
        assert_eq!(at_least(&FUSES_A, 1.7), Some(2.0));
        assert_eq!(at_most(&SHUNTS_OHM, 0.16), Some(0.1));
        assert_eq!(at_least(&FUSES_A, 100.0), None);
    }
}
