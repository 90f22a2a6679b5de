//! Measured numbers as `look` and the plots of the terminal print them.

use rundown::quantity::prefix::{Zeros, with_prefix};

/// Units that take a prefix; a unit of somebody else's may not.
const SCALED: [&str; 7] = ["V", "A", "s", "Ohm", "W", "Hz", "Sa/s"];

/// Four digits, with a prefix where the unit takes one: `12.5 ms`, but `3845 s`.
pub fn number(value: f64, unit: &str) -> String {
    let is_long = unit == "s" && value.abs() >= 999.95;
    let text = if SCALED.contains(&unit) && !is_long {
        with_prefix(value, unit, 4, Zeros::Dropped)
    } else {
        let value: f64 = format!("{value:.3e}").parse().unwrap_or(value);
        format!("{value} {unit}")
    };
    text.trim_end().to_owned()
}

#[cfg(test)]
mod tests {
    use super::number;

    #[test]
    fn four_digits_with_a_prefix() {
        for (value, text) in [
            (5e-6, "5 \u{b5}s"),
            (1e-3, "1 ms"),
            (-0.0336, "-33.6 ms"),
            (999.96, "1000 s"),
            (0.0, "0 s"),
        ] {
            assert_eq!(number(value, "s"), text);
        }
        assert_eq!(number(0.000_123_456, "N"), "0.0001235 N");
    }
}
