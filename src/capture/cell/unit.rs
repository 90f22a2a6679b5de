//! Numbers and names with the unit that an export writes beside them.

use crate::quantity::is_listed;

pub(in crate::capture) use crate::quantity::exported::{parse, prefixed, strip_brackets};

/// A number with a unit behind it, or in the key that announces it: `5 us`, `1e+07`, `80000000(ps)`.
/// Gives the value in the SI unit and the SI symbol where one is written.
pub(in crate::capture) fn quantity(text: &str, decimal: u8) -> Option<(f64, Option<&'static str>)> {
    let text = text.trim().trim_matches('"').trim();
    let bytes = text.as_bytes();
    // The longest start that is a number: an exponent must not be cut off, a unit must.
    for end in (1..=bytes.len().min(40)).rev() {
        if !text.is_char_boundary(end) {
            continue;
        }
        let Some(value) = crate::capture::cell::number(&bytes[..end], decimal) else {
            continue;
        };
        // Digits that go on past what a number can hold are none.
        if !value.is_finite() {
            return None;
        }
        if !bytes[end - 1].is_ascii_digit() && bytes[end - 1] != b'.' {
            continue;
        }
        let rest = text[end..].trim();
        if rest.is_empty() {
            return Some((value, None));
        }
        return parse(rest, true)
            .map(|unit| (unit.to_si(value), Some(unit.symbol)))
            .filter(|(si, _)| si.is_finite());
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
pub(in crate::capture) fn of_name(name: &str) -> Option<&str> {
    let name = name.trim();
    for (open, close) in [('(', ')'), ('[', ']'), ('{', '}'), ('<', '>')] {
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
    if let Some(unit) = by_ending(name) {
        return Some(unit);
    }
    // A column may be called by its unit: `mV`, `volt`, `Milliampere`.
    if matches!(
        name,
        "mV" | "uV" | "\u{b5}V" | "\u{3bc}V" | "kV" | "mA" | "uA" | "\u{b5}A" | "\u{3bc}A" | "nA"
    ) {
        return Some(name);
    }
    if name.len() > 2
        && name.chars().all(char::is_alphabetic)
        && parse(&name.to_lowercase(), false).is_some()
    {
        return Some(name);
    }
    // `time_ms`, `motor voltage V`: only behind a word that says what is measured, for `Channel_A` is no current, nor is
    // `voltage A`.
    if let Some((before, unit)) = name.rsplit_once(['_', ' ']) {
        let word = before
            .rsplit(['_', ' '])
            .next()
            .unwrap_or("")
            .to_lowercase();
        let known = QUANTITIES.iter().find(|(_, words)| is_listed(words, &word));
        let symbol = known.map_or("", |(symbol, _)| symbol);
        if parse(unit, symbol == "s").is_some_and(|u| u.symbol == symbol) {
            return Some(unit);
        }
    }
    // `Motor Volts`, `bus milliamps`.
    if let Some((_, word)) = name.rsplit_once(['_', ' '])
        && word.len() > 3
        && word.chars().all(char::is_alphabetic)
        && parse(&word.to_lowercase(), false).is_some_and(|u| matches!(u.symbol, "V" | "A"))
    {
        return Some(word);
    }
    // `CH1V`, `ch2mA`.
    let after = name.trim_start_matches(|c: char| c.is_ascii_alphabetic());
    let unit = after.trim_start_matches(|c: char| c.is_ascii_digit());
    if name.to_lowercase().starts_with("ch")
        && unit.len() < after.len()
        && parse(unit, false).is_some_and(|u| matches!(u.symbol, "V" | "A"))
    {
        return Some(unit);
    }
    for mark in ["/", " in ", ",", "`", "\u{b4}", "|", "\\"] {
        if let Some((before, unit)) = name.rsplit_once(mark) {
            let unit = unit.trim();
            if !before.trim().is_empty() && parse(unit, true).is_some() {
                return Some(unit);
            }
        }
    }
    None
}

/// Words for what is measured, by the SI unit that may follow them without a bracket.
const QUANTITIES: [(&str, &str); 4] = [
    (
        "s",
        "time t zeit temps tiempo tempo tijd czas \u{432}\u{440}\u{435}\u{43c}\u{44f} \u{65f6}\u{95f4} \u{6642}\u{9593}",
    ),
    (
        "V",
        "voltage volt u v spannung tension tensi\u{f3}n tensione tens\u{e3}o voltaje spanning napi\u{119}cie \
         \u{43d}\u{430}\u{43f}\u{440}\u{44f}\u{436}\u{435}\u{43d}\u{438}\u{435} \u{7535}\u{538b} \u{96fb}\u{5727}",
    ),
    (
        "A",
        "current i strom courant corriente corrente stroom pr\u{105}d \u{442}\u{43e}\u{43a} \u{7535}\u{6d41} \u{96fb}\u{6d41}",
    ),
    (
        "rad/s",
        "speed drehzahl velocity vitesse omega n velocidad velocit\u{e0}",
    ),
];

/// The unit of a name by an ending that means nothing else.
fn by_ending(name: &str) -> Option<&str> {
    // `Volts DC`.
    if let Some(bare) = name.strip_suffix(" DC").or(name.strip_suffix(" dc")) {
        return of_name(bare);
    }
    // `bus_mv`: with a prefix a unit is no name of a channel.
    if let Some((_, ending)) = name.rsplit_once('_')
        && matches!(ending, "mV" | "mv" | "uV" | "kV" | "mA" | "uA")
    {
        return Some(ending);
    }
    for (ending, unit) in [
        ("_rad_s", "rad/s"),
        ("_deg_s", "deg/s"),
        ("_rad_per_s", "rad/s"),
    ] {
        if name.to_lowercase().ends_with(ending) {
            return Some(unit);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

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
            ("voltage V", Some("V")),
            ("voltage A", None),
            ("Current_A", Some("A")),
            ("speed rpm", Some("rpm")),
            ("ampere", Some("ampere")),
            ("Millivolt", Some("Millivolt")),
            ("ms", None),
            ("CH1V", Some("V")),
            ("ch2mA", Some("mA")),
            ("CHA", None),
            ("Motor Volts", Some("Volts")),
            ("pre amp", None),
            ("Volts DC", Some("Volts")),
            ("bus_mv", Some("mv")),
            ("omega_rad_s", Some("rad/s")),
            ("U <mV>", Some("mV")),
            ("Ch 00`V", Some("V")),
        ] {
            assert_eq!(of_name(name), unit, "{name}");
        }
    }

    /// Found by fuzzing.
    #[test]
    fn a_number_too_large_for_any_is_no_time() {
        for text in ["-2.2e325323", "1e400 s", "9e307 Ms", "1e308 Gs"] {
            assert_eq!(seconds(text), None, "{text}");
        }
        assert_eq!(seconds("1e300"), Some(1e300));
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
