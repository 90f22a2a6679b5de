//! Units as exports write them (`Volt`, `(mA)`, `µs`, `s`), brought to SI.

use super::prefix::{PREFIXES, Prefix};
use super::units::RPM;

/// A unit this program computes with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unit {
    /// SI symbol (UCUM spelling): `V`, `A`, `s`, `Ohm`, `W`, `Hz`, `rad/s`.
    pub symbol: &'static str,
    factor: Factor,
}

/// Powers of ten are kept as such: dividing by 1000 rounds once, multiplying by 0.001 twice.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Factor {
    Ten(i32),
    Times(f64),
}

impl Unit {
    /// Value in the SI unit.
    pub fn to_si(self, value: f64) -> f64 {
        match self.factor {
            Factor::Ten(0) => value,
            Factor::Ten(power) if power < 0 => value / 10f64.powi(-power),
            Factor::Ten(power) => value * 10f64.powi(power),
            Factor::Times(factor) => value * factor,
        }
    }

    /// True for a plain SI unit without prefix.
    pub fn is_plain(self) -> bool {
        self.factor == Factor::Ten(0)
    }
}

const BASES: [(&str, &str); 17] = [
    ("V", "V"),
    ("v", "V"),
    ("A", "A"),
    ("a", "A"),
    ("s", "s"),
    ("sec", "s"),
    ("\u{3a9}", "Ohm"),
    ("\u{2126}", "Ohm"),
    ("Ohm", "Ohm"),
    ("ohm", "Ohm"),
    ("W", "W"),
    ("Hz", "Hz"),
    ("hz", "Hz"),
    ("Sa/s", "Hz"),
    ("S/s", "Hz"),
    ("sa/s", "Hz"),
    ("sps", "Hz"),
];

/// Micro as exports write it beside `µ`.
const MICRO: [&str; 2] = ["u", "\u{3bc}"];

const WORDS: [(&str, &str); 8] = [
    ("volt", "V"),
    ("ampere", "A"),
    ("amp", "A"),
    ("second", "s"),
    ("sekunde", "s"),
    ("ohm", "Ohm"),
    ("watt", "W"),
    ("hertz", "Hz"),
];

/// Prefixes that exports use; with more of them too many other words would be units.
fn prefixes() -> impl Iterator<Item = &'static Prefix> {
    PREFIXES
        .iter()
        .filter(|prefix| (-12..=9).contains(&prefix.power) && prefix.power != 0)
}

/// Power of ten of a prefix by its symbol.
fn power_of_symbol(text: &str) -> Option<i32> {
    let text = if MICRO.contains(&text) { "µ" } else { text };
    prefixes()
        .find(|prefix| prefix.symbol == text)
        .map(|prefix| prefix.power)
}

/// Power of ten of a prefix that is written out.
fn power_of_word(text: &str) -> Option<i32> {
    prefixes()
        .find(|prefix| prefix.word == text)
        .map(|prefix| prefix.power)
}

/// Reads a unit, in brackets or not. `time` says that the column is time, where a capital `S` means seconds, not siemens.
pub fn parse(text: &str, time: bool) -> Option<Unit> {
    let text = strip_brackets(text);
    if time && matches!(text, "S" | "mS" | "uS" | "nS") {
        return parse(&text.to_ascii_lowercase(), true);
    }
    let unit = |symbol, factor| Some(Unit { symbol, factor });
    match text {
        "rad/s" => return unit("rad/s", Factor::Ten(0)),
        "rpm" | "RPM" | "1/min" | "U/min" | "r/min" => {
            return unit("rad/s", Factor::Times(RPM));
        }
        "min" if time => return unit("s", Factor::Times(60.0)),
        _ => {}
    }
    for (name, symbol) in BASES {
        if let Some(prefix) = text.strip_suffix(name) {
            if prefix.is_empty() {
                return unit(symbol, Factor::Ten(0));
            }
            if let Some(power) = power_of_symbol(prefix) {
                return unit(symbol, Factor::Ten(power));
            }
        }
    }
    let word = text.to_lowercase();
    let word = word
        .strip_suffix('s')
        .or(word.strip_suffix("n"))
        .unwrap_or(&word);
    for (name, symbol) in WORDS {
        if let Some(prefix) = word.strip_suffix(name) {
            if prefix.is_empty() {
                return unit(symbol, Factor::Ten(0));
            }
            if let Some(power) = power_of_word(prefix) {
                return unit(symbol, Factor::Ten(power));
            }
        }
    }
    None
}

/// Without one pair of round or square brackets.
pub fn strip_brackets(text: &str) -> &str {
    let text = text.trim();
    text.strip_prefix('(')
        .and_then(|t| t.strip_suffix(')'))
        .or_else(|| text.strip_prefix('[').and_then(|t| t.strip_suffix(']')))
        .unwrap_or(text)
        .trim()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn symbols_words_and_prefixes() {
        for (text, symbol, si) in [
            ("(ms)", "s", 1e-3),
            ("mA", "A", 1e-3),
            ("\u{b5}s", "s", 1e-6),
            ("us", "s", 1e-6),
            ("kV", "V", 1e3),
            ("Volt", "V", 1.0),
            ("Second", "s", 1.0),
            ("seconds", "s", 1.0),
            ("Milliampere", "A", 1e-3),
            ("[V]", "V", 1.0),
        ] {
            let unit = parse(text, false).unwrap_or_else(|| panic!("{text}"));
            assert_eq!((unit.symbol, unit.to_si(1.0)), (symbol, si), "{text}");
        }
        for text in ["CH1", "X", "Sequence", "MPa", "ml", "g", "B", ""] {
            assert_eq!(parse(text, false), None, "{text}");
        }
        assert_eq!(parse("S", true).map(|u| u.symbol), Some("s"));
    }

    #[test]
    fn a_prefix_divides_so_that_decimal_text_stays_exact() {
        let unit = parse("ms", true).unwrap();
        assert_eq!(unit.to_si(-41.6), -0.0416);
    }
}
