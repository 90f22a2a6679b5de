//! What the name of a column says: time, a count of rows, an axis that is not time, a remark.

use crate::capture::unit;

/// Words of a name in lower case: parted at anything but letters and digits, at a capital inside a word, and without
/// the digits at their ends.
pub fn tokens(name: &str) -> Vec<String> {
    let mut tokens = vec![String::new()];
    let mut before_is_lower = false;
    for c in name.chars() {
        let is_word = c.is_alphanumeric() || c == '\u{b5}';
        if !is_word || (c.is_uppercase() && before_is_lower) {
            tokens.push(String::new());
        }
        if let (true, Some(last)) = (is_word, tokens.last_mut()) {
            last.extend(c.to_lowercase());
        }
        before_is_lower = c.is_lowercase();
    }
    let bare = |t: String| t.trim_end_matches(|c: char| c.is_ascii_digit()).to_string();
    tokens
        .into_iter()
        .map(bare)
        .filter(|t| !t.is_empty())
        .collect()
}

/// The name without a unit in brackets or behind a stroke.
fn stem(name: &str) -> &str {
    name.split(['(', '[', '/']).next().unwrap_or("").trim()
}

const TIME: [&str; 27] = [
    "time",
    "zeit",
    "temps",
    "tiempo",
    "tempo",
    "tijd",
    "tid",
    "czas",
    "\u{432}\u{440}\u{435}\u{43c}\u{44f}",
    "\u{65f6}\u{95f4}",
    "\u{6642}\u{9593}",
    "\u{65f6}",
    "second",
    "seconds",
    "sekunden",
    "timestamp",
    "timestamps",
    "uhrzeit",
    "datum",
    "datetime",
    "elapsed",
    "clock",
    "millis",
    "micros",
    "milliseconds",
    "microseconds",
    "date",
];

/// Words beside `time` that make it a measured quantity.
const NO_AXIS: [&str; 9] = [
    "constant", "div", "rise", "fall", "delay", "settling", "up", "base", "per",
];

/// True for the name of a time axis.
pub fn is_time_name(name: &str) -> bool {
    let words = tokens(stem(name));
    let texts: Vec<&str> = words.iter().map(String::as_str).collect();
    match texts.as_slice() {
        // `T1` is more likely a temperature.
        ["t"] => stem(name).eq_ignore_ascii_case("t"),
        _ if is_unit_of_time(name) => true,
        ["x", "axis"] | ["x", "value"] | ["xaxis"] | ["xvalue"] => true,
        all => {
            all.len() <= 4
                && all.iter().any(|w| TIME.contains(w))
                && !all.iter().any(|w| NO_AXIS.contains(w))
        }
    }
}

/// True for a name that is a unit of time and nothing else: `ms`.
pub fn is_unit_of_time(name: &str) -> bool {
    let name = name.trim();
    matches!(
        name,
        "s" | "sec" | "ms" | "msec" | "us" | "\u{b5}s" | "\u{3bc}s" | "usec" | "ns"
    )
}

/// The unit of time that a name ends with or is: `time_ms`, `millis`, `t_us`, `seconds`.
pub fn time_unit_of_name(name: &str) -> Option<&'static str> {
    let words = tokens(stem(name));
    // `seconds after switching on`.
    if matches!(words.first()?.as_str(), "second" | "seconds" | "sekunden") {
        return Some("s");
    }
    Some(match words.last()?.as_str() {
        "s" if words.len() > 1 || is_unit_of_time(name) => "s",
        "sec" | "secs" | "second" | "seconds" | "sekunden" => "s",
        "ms" | "msec" | "millis" | "millisecond" | "milliseconds" => "ms",
        "us" | "\u{b5}s" | "\u{3bc}s" | "usec" | "micros" | "microsecond" | "microseconds" => "us",
        "ns" | "nsec" | "nanos" | "nanosecond" | "nanoseconds" => "ns",
        _ => return None,
    })
}

/// True for the name of a column that counts the rows.
pub fn is_index_name(name: &str) -> bool {
    let name = name.trim().to_lowercase();
    matches!(
        stem(&name),
        "sample"
            | "samples"
            | "sequence"
            | "index"
            | "idx"
            | "point"
            | "points"
            | "nr"
            | "nr."
            | "no"
            | "no."
            | "num"
            | "number"
            | "#"
            | "n"
            | "row"
            | "scan"
            | "record"
            | "reading"
            | "line"
            | "sample number"
            | "sample no"
            | "sample nr"
            | "sample index"
            | "data point"
    )
}

/// True for the name of a column that names the channel of each row.
pub fn is_channel_name(name: &str) -> bool {
    const CHANNEL: [&str; 8] = [
        "channel", "chan", "ch", "kanal", "signal", "input", "sensor", "voie",
    ];
    matches!(tokens(name).as_slice(), [word] if CHANNEL.contains(&word.as_str()))
}

/// True for the name of a column of remarks.
pub fn is_remark_name(name: &str) -> bool {
    let name = name.trim().to_lowercase();
    matches!(
        stem(&name),
        "comment" | "comments" | "remark" | "remarks" | "note" | "notes" | "kommentar"
    )
}

/// True for the name of an axis that is not time: a frequency, a wavelength, an angle.
pub fn is_other_axis_name(name: &str) -> bool {
    const OTHER: [&str; 19] = [
        "order",
        "octave",
        "bin",
        "bins",
        "frequency",
        "freq",
        "frequenz",
        "fr\u{e9}quence",
        "frequencia",
        "frecuencia",
        "hertz",
        "hz",
        "khz",
        "mhz",
        "wavelength",
        "wavenumber",
        "degrees",
        "angle",
        "winkel",
    ];
    tokens(name).iter().any(|w| OTHER.contains(&w.as_str()))
}

/// True for the name of a spectrum: a transform, or a level in decibels.
pub fn is_spectrum_name(name: &str) -> bool {
    const SPECTRUM: [&str; 5] = ["fft", "dft", "psd", "spectrum", "spektrum"];
    let in_decibels = |text: &str| text.trim().to_lowercase().starts_with("db");
    tokens(name).iter().any(|w| SPECTRUM.contains(&w.as_str()))
        || unit::of_name(name).is_some_and(in_decibels)
        || in_decibels(unit::strip_brackets(name)) && name.trim().len() <= 5
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_are_read_word_by_word() {
        for name in [
            "Time (s)",
            "t",
            "time - plot 0",
            "TIME",
            "Zeit [ms]",
            "elapsed time",
            "TimeStamp",
            "Time1",
            "x-axis",
        ] {
            assert!(is_time_name(name), "{name}");
        }
        for name in [
            "time constant",
            "CH1",
            "motorCommand",
            "T1",
            "rise time",
            "uptime",
            "Sometimes",
        ] {
            assert!(!is_time_name(name), "{name}");
        }
        for name in [
            "Frequency (Hz)",
            "Freq",
            "wavelength [nm]",
            "Hertz",
            "Angle",
        ] {
            assert!(is_other_axis_name(name), "{name}");
        }
        assert!(!is_other_axis_name("Ch 1"));
        for name in ["FFT(CH1)", "Amplitude (dBV)", "dB", "PSD"] {
            assert!(is_spectrum_name(name), "{name}");
        }
        assert!(!is_spectrum_name("dbg counter") && !is_spectrum_name("Amplitude (V)"));
        assert_eq!(time_unit_of_name("time_ms"), Some("ms"));
        assert_eq!(time_unit_of_name("millis"), Some("ms"));
        assert_eq!(time_unit_of_name("seconds after switching on"), Some("s"));
        assert_eq!(time_unit_of_name("time"), None);
    }
}
