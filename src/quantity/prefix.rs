//! Engineering prefixes: the one table, and numbers written with them.

use super::decimal::Decimal;

/// An SI prefix for a power of ten that is a multiple of three.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Prefix {
    /// Power of ten.
    pub power: i32,
    /// As printed before a unit; empty for 10⁰.
    pub symbol: &'static str,
    /// Written out, as in `milliampere`.
    pub word: &'static str,
}

const fn prefix(power: i32, symbol: &'static str, word: &'static str) -> Prefix {
    Prefix {
        power,
        symbol,
        word,
    }
}

/// Every prefix in use, from the smallest.
pub const PREFIXES: [Prefix; 11] = [
    prefix(-18, "a", "atto"),
    prefix(-15, "f", "femto"),
    prefix(-12, "p", "pico"),
    prefix(-9, "n", "nano"),
    prefix(-6, "µ", "micro"),
    prefix(-3, "m", "milli"),
    prefix(0, "", ""),
    prefix(3, "k", "kilo"),
    prefix(6, "M", "mega"),
    prefix(9, "G", "giga"),
    prefix(12, "T", "tera"),
];

/// Symbol of the prefix for 10^`power`; `None` where there is none.
pub fn symbol(power: i32) -> Option<&'static str> {
    let found = PREFIXES.iter().find(|prefix| prefix.power == power);
    found.map(|prefix| prefix.symbol)
}

/// Whether a number keeps the zeros at its end.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Zeros {
    /// `1.50 ms`: the digits show how exact it is.
    Kept,
    /// `1.5 ms`: for settings and other round numbers.
    Dropped,
}

/// A number with three significant digits and a prefix: `1.50 ms`.
pub fn engineering(value: f64, unit: &str) -> String {
    with_prefix(value, unit, 3, Zeros::Kept)
}

/// A number with `digits` significant digits and a prefix.
pub fn with_prefix(value: f64, unit: &str, digits: i32, zeros: Zeros) -> String {
    let (number, prefix) = scaled(value, digits, zeros);
    format!("{number} {prefix}{unit}")
}

/// The number with `digits` significant digits after division by its prefix, and the prefix. It is rounded first, so that
/// 999.9 mV to three digits is 1.00 V. Zero and what is not finite are written without a prefix.
pub fn scaled(value: f64, digits: i32, zeros: Zeros) -> (String, &'static str) {
    if value == 0.0 || !value.is_finite() {
        return (value.to_string(), "");
    }
    let number = Decimal::significant(value, digits);
    let leading = number.leading().unwrap_or(0);
    let [least, .., most] = PREFIXES;
    let power = (3 * leading.div_euclid(3)).clamp(least.power, most.power);
    let mut text = number.written(power);
    if zeros == Zeros::Dropped && text.contains('.') {
        text.truncate(text.trim_end_matches('0').trim_end_matches('.').len());
    }
    (text, symbol(power).unwrap_or_default())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_is_rounded_before_its_prefix_is_chosen() {
        for (value, kept, dropped) in [
            (5e-6, "5.00 µs", "5 µs"),
            (1e-3, "1.00 ms", "1 ms"),
            (-0.0336, "-33.6 ms", "-33.6 ms"),
            (0.9994, "999 ms", "999 ms"),
            (0.9996, "1.00 s", "1 s"),
            (99.96, "100 s", "100 s"),
            (1234.0, "1.23 ks", "1.23 ks"),
            (2.5e9, "2.50 Gs", "2.5 Gs"),
            (3e16, "30000 Ts", "30000 Ts"),
            (2e-20, "0.0200 as", "0.02 as"),
            (0.0, "0 s", "0 s"),
            (f64::INFINITY, "inf s", "inf s"),
        ] {
            assert_eq!(engineering(value, "s"), kept);
            assert_eq!(with_prefix(value, "s", 3, Zeros::Dropped), dropped);
        }
    }
}
