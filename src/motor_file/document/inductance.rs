//! The inductance that an alternating current meets, by frequency.

use crate::quantity::rounding::{self, Scale};
use serde::{Deserialize, Serialize};
use std::fmt::Write;

/// Series inductance at small current and one frequency: what an inductance meter reads there, and what a ripple of that frequency meets.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct InductanceAtFrequency {
    /// Hz.
    pub frequency_hz: f64,
    /// H.
    pub value: f64,
    /// H.
    pub standard_uncertainty: f64,
    /// Lower bound of the interval, H.
    pub lower: f64,
    /// Upper bound of the interval, H.
    pub upper: f64,
    /// Probability that the interval covers the true value.
    pub level: f64,
}

/// One line a frequency, under a heading; empty where nothing is known. Ends in a line feed.
pub fn words(known: &[InductanceAtFrequency]) -> String {
    let mut text = String::new();
    for at in known {
        if text.is_empty() {
            text.push_str(
                "inductance by frequency (small current; L itself is that of low frequency):\n",
            );
        }
        let frequency = rounding::write(at.frequency_hz, None, "Hz", Scale::Prefix);
        let value = rounding::write(at.value, Some(at.standard_uncertainty), "H", Scale::Prefix);
        let range = rounding::write_interval(at.lower, at.upper, "H", Scale::Prefix);
        let percent = rounding::percent(at.level);
        let _ = writeln!(text, "  {frequency:<16} {value}, {range} ({percent} %)");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_frequency_has_a_line() {
        let at = InductanceAtFrequency {
            frequency_hz: 10e3,
            value: 336.8e-6,
            standard_uncertainty: 9.1e-6,
            lower: 319.2e-6,
            upper: 354.9e-6,
            level: 0.95,
        };
        let text = words(&[at]);
        assert!(
            text.ends_with("337(9) µH, 319 to 355 µH (95 %)\n") || text.contains("336.8(9.1) µH"),
            "{text}"
        );
        assert!(text.contains("10") && text.contains("kHz"), "{text}");
        assert!(words(&[]).is_empty());
    }
}
