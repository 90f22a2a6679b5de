//! Numbers as the warnings show them.

/// A number of seconds (or any quantity) with the digits a person needs.
pub(super) fn short(value: f64) -> String {
    if value == 0.0 || (1e-3..1e5).contains(&value.abs()) {
        let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
        format!("{rounded}")
    } else {
        let rounded: f64 = format!("{value:.9e}").parse().unwrap_or(value);
        format!("{rounded:e}")
    }
}

/// A length of time, to four digits.
pub(super) fn brief(value: f64) -> String {
    let rounded: f64 = format!("{value:.3e}").parse().unwrap_or(value);
    short(rounded)
}
