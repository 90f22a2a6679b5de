//! Units as exports write them (`Volt`, `(mA)`, `µs`, `s`), brought to SI.

use super::prefix::{PREFIXES, Prefix};
use super::units::RPM;
use std::f64::consts::{PI, TAU};

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

const BASES: [(&str, &str); 24] = [
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
    ("SPS", "Hz"),
    ("samples/s", "Hz"),
    ("Samples/s", "Hz"),
    ("\u{79d2}", "s"),
    ("\u{4f0f}", "V"),
    ("\u{5b89}", "A"),
    ("\u{cd08}", "s"),
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
    if text.chars().any(|c| ('\u{400}'..'\u{500}').contains(&c)) {
        return parse(&in_latin(text)?, time);
    }
    for (word, prefix) in [("\u{6beb}", "m"), ("\u{5fae}", "u")] {
        if let Some(rest) = text.strip_prefix(word) {
            return parse(&format!("{prefix}{rest}"), time);
        }
    }
    // Instruments write `mSec` and `MS` for milliseconds; nobody counts megaseconds.
    let lower = text.to_lowercase();
    let seconds = lower
        .strip_suffix("secs")
        .or_else(|| lower.strip_suffix("sec"));
    if let Some(prefix) =
        seconds.filter(|p| matches!(*p, "" | "m" | "u" | "\u{b5}" | "\u{3bc}" | "n"))
        && text != format!("{prefix}sec")
    {
        return parse(&format!("{prefix}sec"), time);
    }
    if time && matches!(text, "S" | "mS" | "uS" | "nS" | "MS" | "US" | "NS") {
        return parse(&lower, true);
    }
    let unit = |symbol, factor| Some(Unit { symbol, factor });
    match text {
        "rad/s" => return unit("rad/s", Factor::Ten(0)),
        "krpm" | "kRPM" => return unit("rad/s", Factor::Times(1e3 * RPM)),
        "deg/s" | "\u{b0}/s" => return unit("rad/s", Factor::Times(PI / 180.0)),
        "rev/s" | "rps" => return unit("rad/s", Factor::Times(TAU)),
        "rpm" | "RPM" | "1/min" | "U/min" | "r/min" | "rev/min" | "min-1" => {
            return unit("rad/s", Factor::Times(RPM));
        }
        "min" if time => return unit("s", Factor::Times(60.0)),
        "day" | "days" if time => return unit("s", Factor::Times(86_400.0)),
        "h" if time => return unit("s", Factor::Times(3600.0)),
        // A converter, more often than a current.
        "ADC" if time => return None,
        // In capital letters alone a prefix cannot be told: mega or milli.
        "MV" | "MA" | "Ms" => return None,
        _ => {}
    }
    if let Some(bare) = text.strip_suffix("DC").or_else(|| text.strip_suffix("dc")) {
        let known = |unit: &Unit| matches!(unit.symbol, "V" | "A");
        return parse(bare, false).filter(known);
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

/// A number with a bare prefix behind it (`1.0u`), as a value; `None` where the text is no prefix.
pub fn prefixed(value: f64, prefix: &str) -> Option<f64> {
    // `K` for kilo is common in exports, though no SI prefix.
    let power = power_of_symbol(if prefix == "K" { "k" } else { prefix })?;
    let unit = Unit {
        symbol: "",
        factor: Factor::Ten(power),
    };
    Some(unit.to_si(value))
}

/// A unit in Cyrillic letters in Latin ones; `None` where a letter stands for no unit.
fn in_latin(text: &str) -> Option<String> {
    let text = text
        .replace("\u{43c}\u{43a}", "u")
        .replace("\u{41e}\u{43c}", "Ohm")
        .replace("\u{413}\u{446}", "Hz");
    let letter = |c: char| match c {
        '\u{412}' => Some('V'),
        '\u{410}' => Some('A'),
        '\u{441}' => Some('s'),
        '\u{43c}' => Some('m'),
        '\u{43a}' => Some('k'),
        '\u{43d}' => Some('n'),
        '\u{41c}' => Some('M'),
        c if c.is_ascii() => Some(c),
        _ => None,
    };
    text.chars().map(letter).collect()
}

/// Without one pair of brackets.
pub fn strip_brackets(text: &str) -> &str {
    let text = text.trim();
    let pairs = [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')];
    let inside = |(open, close)| text.strip_prefix(open)?.strip_suffix(close);
    pairs.into_iter().find_map(inside).unwrap_or(text).trim()
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
            ("mSec", "s", 1e-3),
            ("MSEC", "s", 1e-3),
            ("usecs", "s", 1e-6),
            ("Milliampere", "A", 1e-3),
            ("[V]", "V", 1.0),
            ("{V}", "V", 1.0),
            ("mA DC", "A", 1e-3),
            ("Vdc", "V", 1.0),
            ("(\u{43c}\u{43a}\u{441})", "s", 1e-6),
            ("(\u{412})", "V", 1.0),
        ] {
            let unit = parse(text, false).unwrap_or_else(|| panic!("{text}"));
            assert_eq!((unit.symbol, unit.to_si(1.0)), (symbol, si), "{text}");
        }
        for text in ["CH1", "X", "Sequence", "MPa", "MV", "ml", "g", "B", ""] {
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
