//! Numbers as a person at the bench reads them.

use crate::next::assumptions::guess::{Basis, Guess};
use crate::quantity::prefix::{Zeros, scaled, with_prefix};

/// Three digits at most and a prefix: `7.5 A`, `375 mV`, `30 µs`, `1.2 MHz`.
pub fn amount(si: f64, unit: &str) -> String {
    with_prefix(si, unit, 3, Zeros::Dropped)
}

/// A number with its range where it has one: `7.5 A (7.1 to 10.7 A)`; `unknown` where there is none.
pub fn span(guess: Option<Guess>, unit: &str) -> String {
    let Some(guess) = guess else {
        return format!("an unknown number of {unit}");
    };
    let value = amount(guess.value, unit);
    if guess.is_sharp() {
        return value;
    }
    let (low, prefix_low) = short(guess.low);
    let (high, prefix) = short(guess.high);
    let low = if prefix_low == prefix {
        low
    } else {
        format!("{low} {prefix_low}{unit}")
    };
    let mark = match guess.basis {
        Basis::Guess | Basis::FromGuess => "guess ",
        Basis::Measured | Basis::Given => "",
    };
    format!("{value} ({mark}{low} to {high} {prefix}{unit})")
}

/// Three digits at most, and the prefix.
fn short(si: f64) -> (String, &'static str) {
    scaled(si, 3, Zeros::Dropped)
}

/// Three significant digits without trailing zeros.
pub fn three_digits(value: f64) -> String {
    if value == 0.0 || !value.is_finite() {
        return format!("{value}");
    }
    let decimals = (2 - value.abs().log10().floor() as i32).max(0) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') {
        text.trim_end_matches('0').trim_end_matches('.').to_string()
    } else {
        text
    }
}

/// A share as percent with two digits: `4.1 %`.
pub fn percent(share: f64) -> String {
    let percent = 100.0 * share;
    if percent >= 99.5 || percent == 0.0 {
        return format!("{percent:.0} %");
    }
    let decimals = (1 - percent.log10().floor() as i32).max(0) as usize;
    format!("{percent:.decimals$} %")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_carry_prefixes_and_three_digits() {
        assert_eq!(amount(7.5, "A"), "7.5 A");
        assert_eq!(amount(0.375, "V"), "375 mV");
        assert_eq!(amount(3.2e-5, "s"), "32 µs");
        assert_eq!(amount(1.0, "s"), "1 s");
        assert_eq!(amount(0.9999, "s"), "1 s");
        assert_eq!(amount(-0.1234, "A"), "-123 mA");
        assert_eq!(amount(2e6, "Hz"), "2 MHz");
        assert_eq!(percent(0.0412), "4.1 %");
        assert_eq!(percent(0.00412), "0.41 %");
        assert_eq!(percent(0.78), "78 %");
    }

    #[test]
    fn a_guess_is_marked_and_a_given_number_is_not() {
        assert_eq!(
            span(Some(Guess::range((0.5, 1.0, 2.0))), "s"),
            "1 s (guess 500 ms to 2 s)"
        );
        assert_eq!(span(Some(Guess::given(3.0)), "A"), "3 A");
    }
}
