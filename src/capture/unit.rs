//! Units as exports write them (`Volt`, `(mA)`, `µs`, `s`), brought to SI.

/// A unit this program computes with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Unit {
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

const PREFIXES: [(&str, i32); 9] = [
    ("p", -12),
    ("n", -9),
    ("u", -6),
    ("\u{b5}", -6),
    ("\u{3bc}", -6),
    ("m", -3),
    ("k", 3),
    ("M", 6),
    ("G", 9),
];

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

const WORD_PREFIXES: [(&str, i32); 7] = [
    ("pico", -12),
    ("nano", -9),
    ("micro", -6),
    ("milli", -3),
    ("kilo", 3),
    ("mega", 6),
    ("giga", 9),
];

/// Reads a unit, in brackets or not. `time` says that the column is time, where a capital `S` means seconds, not siemens.
pub(super) fn parse(text: &str, time: bool) -> Option<Unit> {
    let text = strip_brackets(text);
    if time && matches!(text, "S" | "mS" | "uS" | "nS") {
        return parse(&text.to_ascii_lowercase(), true);
    }
    let unit = |symbol, factor| Some(Unit { symbol, factor });
    match text {
        "rad/s" => return unit("rad/s", Factor::Ten(0)),
        "rpm" | "RPM" | "1/min" | "U/min" | "r/min" => {
            return unit("rad/s", Factor::Times(std::f64::consts::TAU / 60.0));
        }
        "min" if time => return unit("s", Factor::Times(60.0)),
        _ => {}
    }
    for (name, symbol) in BASES {
        if let Some(prefix) = text.strip_suffix(name) {
            if prefix.is_empty() {
                return unit(symbol, Factor::Ten(0));
            }
            if let Some((_, power)) = PREFIXES.iter().find(|(p, _)| *p == prefix) {
                return unit(symbol, Factor::Ten(*power));
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
            if let Some((_, power)) = WORD_PREFIXES.iter().find(|(p, _)| *p == prefix) {
                return unit(symbol, Factor::Ten(*power));
            }
        }
    }
    None
}

/// A number with a unit behind it, or in the key that announces it: `5 us`, `1e+07`, `80000000(ps)`.
/// Gives the value in the SI unit and the SI symbol where one is written.
pub(super) fn quantity(text: &str, decimal: u8) -> Option<(f64, Option<&'static str>)> {
    let text = text.trim().trim_matches('"').trim();
    let bytes = text.as_bytes();
    // The longest start that is a number: an exponent must not be cut off, a unit must.
    for end in (1..=bytes.len().min(40)).rev() {
        if !text.is_char_boundary(end) {
            continue;
        }
        let Some(value) = super::cell::number(&bytes[..end], decimal) else {
            continue;
        };
        if !bytes[end - 1].is_ascii_digit() && bytes[end - 1] != b'.' {
            continue;
        }
        let rest = text[end..].trim();
        if rest.is_empty() {
            return Some((value, None));
        }
        return parse(rest, true).map(|unit| (unit.to_si(value), Some(unit.symbol)));
    }
    None
}

/// A time in seconds from text such as `80us`, `-1.2 ms` or `8e-5`; `None` when it is none.
pub fn seconds(text: &str) -> Option<f64> {
    match quantity(text, b'.')? {
        (value, None | Some("s")) => Some(value),
        _ => None,
    }
}

/// The unit written in a name: `Time (s)`, `CH1(V)`, `time/s`, `Voltage [V]`, `t in ms`.
pub(super) fn of_name(name: &str) -> Option<&str> {
    let name = name.trim();
    for (open, close) in [('(', ')'), ('[', ']')] {
        if let Some(inner) = name
            .strip_suffix(close)
            .and_then(|rest| rest.rfind(open).map(|at| &rest[at + open.len_utf8()..]))
        {
            let inner = inner.trim();
            // A short word in brackets is a unit even when it is none of ours; a long one is a remark.
            return (!inner.is_empty()
                && (parse(inner, true).is_some() || inner.chars().count() <= 5))
                .then_some(inner);
        }
    }
    // `time_ms`, `motor_voltage_V`: only behind a word that says what is measured, for `Channel_A` is no current.
    if let Some((before, unit)) = name.rsplit_once('_') {
        let word = before
            .rsplit(['_', ' '])
            .next()
            .unwrap_or("")
            .to_lowercase();
        const MEASURED: [&str; 10] = [
            "time", "t", "zeit", "voltage", "volt", "u", "v", "current", "i", "strom",
        ];
        if MEASURED.contains(&word.as_str()) && parse(unit, true).is_some() {
            return Some(unit);
        }
    }
    for mark in ["/", " in ", ","] {
        if let Some((before, unit)) = name.rsplit_once(mark) {
            let unit = unit.trim();
            if !before.trim().is_empty() && parse(unit, true).is_some() {
                return Some(unit);
            }
        }
    }
    None
}

/// Without one pair of round or square brackets.
pub(super) fn strip_brackets(text: &str) -> &str {
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

    #[test]
    fn units_inside_names() {
        for (name, unit) in [
            ("Time (s)", Some("s")),
            ("CH1(V)", Some("V")),
            ("time/s", Some("s")),
            ("Zeit in ms", Some("ms")),
            ("Temperatura (\u{b0}C)", Some("\u{b0}C")),
            ("Excitation (Trigger)", None),
            ("Dev0/Ai0", None),
            ("CH1", None),
            ("time_ms", Some("ms")),
            ("motor_current_mA", Some("mA")),
            ("Channel_A", None),
        ] {
            assert_eq!(of_name(name), unit, "{name}");
        }
    }

    #[test]
    fn quantities() {
        assert_eq!(quantity("80000000(ps)", b'.'), Some((80e-6, Some("s"))));
        assert_eq!(quantity("1e+07", b'.'), Some((1e7, None)));
        assert_eq!(quantity("2.5 MSa/s", b'.'), Some((2.5e6, Some("Hz"))));
        assert_eq!(quantity("3,906250E-5", b','), Some((3.90625e-5, None)));
        assert_eq!(quantity("CH1", b'.'), None);
        assert_eq!(quantity("0.0% to 100.0%", b'.'), None);
    }
}
