//! What a preamble says of the whole record, read by the common words in its keys.

use super::dialect::Dialect;
use super::words::{Setting, setting};
use crate::capture::cell;
use crate::capture::cell::unit;
use crate::capture::record::PreambleFact;
use crate::capture::source;
use encoding_rs::Encoding;

/// A cell that holds a setting of its own: `t0 = -5e-3`, `Samplerate: 10 kHz`.
pub(super) fn key_and_value(cell: &str) -> Option<(&str, &str)> {
    let (key, value) = cell.split_once('=').or_else(|| cell.split_once(':'))?;
    let (key, value) = (key.trim(), value.trim());
    let is_key = key.chars().next().is_some_and(char::is_alphabetic);
    (is_key && !value.is_empty()).then_some((key, value))
}

/// Reads one line above the table as settings: one key with its values, or a key with its value in each cell.
pub fn of_line(
    line: &[u8],
    number: usize,
    dialect: Dialect,
    named: Option<&'static Encoding>,
) -> Vec<PreambleFact> {
    let mut cells = cells_of_line(line, dialect, named);
    if dialect.delimiter == b',' {
        join_thousands(&mut cells);
    }
    let fact = |key: &str, values: Vec<String>| PreambleFact {
        line: number,
        key: key.to_string(),
        values,
    };
    let own: Vec<PreambleFact> = cells
        .iter()
        .filter_map(|cell| key_and_value(cell))
        .map(|(key, value)| fact(key, vec![value.to_string()]))
        .collect();
    if !own.is_empty() {
        return own;
    }
    if cells.iter().skip(1).all(String::is_empty) {
        let only = cells.first().cloned().unwrap_or_default();
        cells = match only
            .split_once('=')
            .or_else(|| only.split_once(':'))
            .or_else(|| only.split_once('\t'))
            .or_else(|| only.split_once(';'))
            .or_else(|| only.split_once(','))
        {
            Some((key, value)) => vec![key.trim().to_string(), value.trim().to_string()],
            None => vec![only],
        };
    }
    while cells.last().is_some_and(String::is_empty) {
        cells.pop();
    }
    let Some(key) = cells.first() else {
        return Vec::new();
    };
    let key = key.trim_matches(|c: char| c.is_whitespace() || matches!(c, '=' | ':' | '"'));
    match key.is_empty() {
        true => Vec::new(),
        false => vec![fact(key, cells[1..].to_vec())],
    }
}

/// Whether text is three digits, with or without a unit behind them.
fn is_group(text: &str) -> bool {
    let digits = text.bytes().take_while(u8::is_ascii_digit).count();
    digits == 3 && !text[3..].starts_with(['.', 'e', 'E'])
}

/// Puts a setting together that a comma between thousands cut: `Sample rate: 20,000 S/s`.
fn join_thousands(cells: &mut Vec<String>) {
    let is_cut = |cell: &str| {
        let of_record = key_and_value(cell).filter(|(key, _)| setting(key).is_some());
        let digits = of_record.map_or("", |(_, value)| value);
        let few = (1..=3).contains(&digits.len()) && !digits.starts_with('0');
        few && digits.bytes().all(|b| b.is_ascii_digit())
    };
    let Some(at) = cells.iter().position(|cell| is_cut(cell)) else {
        return;
    };
    while cells.get(at + 1).is_some_and(|cell| is_group(cell)) {
        let group = cells.remove(at + 1);
        cells[at].push_str(&group);
        if group.len() > 3 {
            return;
        }
    }
}

/// Cells of a line, without the comment mark before them.
fn cells_of_line(line: &[u8], dialect: Dialect, named: Option<&'static Encoding>) -> Vec<String> {
    // A delimiter may precede the comment mark (`,#key=value`).
    let bare = cell::trim(line);
    let marked = bare
        .iter()
        .position(|b| !matches!(b, b',' | b' ' | b'\t'))
        .map_or(bare, |at| &bare[at..]);
    let is_mark = |b: &u8| matches!(b, b'#' | b';' | b'!' | b'%');
    let body = match marked.first().is_some_and(is_mark) {
        true => {
            let after = marked.iter().position(|b| !is_mark(b) && *b != b' ');
            &marked[after.unwrap_or(marked.len())..]
        }
        false => line,
    };
    let text = |cell: &[u8]| source::text(cell::trim(cell), named).trim().to_string();
    // Blanks part the words of a key as well.
    let dialect = match dialect.delimiter {
        b' ' => Dialect::new(b'\t', dialect.decimal),
        _ => dialect,
    };
    dialect.split(body).iter().map(|c| text(c)).collect()
}

/// What the preamble says of the whole record.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct RecordFacts {
    /// Sampling interval in seconds, with the line that says so.
    pub interval_s: Option<(f64, usize)>,
    /// Time of the first row (or of index 0) in seconds.
    pub start_s: Option<(f64, usize)>,
    /// Announced number of samples.
    pub length: Option<(f64, usize)>,
    /// Another sampling interval that the preamble states as well, with its line.
    pub other_interval_s: Option<(f64, usize)>,
    /// The interval comes from a number without a unit, and is longer than a sampling interval usually is in seconds.
    pub interval_unit_unsure: bool,
}

/// The key without a unit in brackets at its end, and that unit.
pub(super) fn key_and_unit(key: &str) -> (&str, Option<&str>) {
    let unit = unit::of_name(key).filter(|_| key.contains(['(', '[']));
    match unit {
        Some(_) => (key.rfind(['(', '[']).map_or(key, |at| &key[..at]), unit),
        None => (key, None),
    }
}

/// A bare number of seconds from here on may be one of milliseconds or less.
const LONG_INTERVAL_S: f64 = 0.01;

/// A rate or a count with points between its thousands, as tables with decimal commas have them: `20.000 Hz`. With a prefix behind it the point
/// may as well be a decimal mark.
fn without_points(text: &str, setting: Setting, decimal: u8) -> Option<String> {
    let text = text.trim();
    let is_digit = |c: char| c.is_ascii_digit() || c == '.';
    let (digits, unit) = text.split_at(text.find(|c| !is_digit(c)).unwrap_or(text.len()));
    let (first, groups) = digits.split_once('.')?;
    let grouped = (1..=3).contains(&first.len())
        && !first.starts_with('0')
        && groups.split('.').all(|group| group.len() == 3);
    let plain = matches!(unit.trim(), "" | "Hz" | "S/s" | "Sa/s" | "1/s");
    let counts = matches!(setting, Setting::Rate | Setting::Length);
    (decimal == b',' && counts && grouped && plain).then(|| text.replace('.', ""))
}

/// A value of a setting in SI, with the SI symbol where a unit is written in the value or the key.
fn value_of(
    text: &str,
    key_unit: Option<&str>,
    decimal: u8,
) -> Option<(f64, Option<&'static str>)> {
    // `2 us/pt` is an interval, `2 MSa/s` a rate.
    let per_sample = || text.rsplit_once('/').map(|(before, _)| before);
    let read = |text: &str| unit::quantity(text, decimal).or_else(|| unit::quantity(text, b'.'));
    let (value, unit) = read(text).or_else(|| read(per_sample()?))?;
    Some(match (unit, key_unit.and_then(|u| unit::parse(u, true))) {
        (None, Some(unit)) => (unit.to_si(value), Some(unit.symbol)),
        _ => (value, unit),
    })
}

impl RecordFacts {
    /// Collects the facts of the whole record from all preamble lines. A key that can mean nothing else wins over a bare word; of
    /// two alike the first wins.
    pub fn gather(facts: &[PreambleFact], decimal: u8) -> RecordFacts {
        let mut found = RecordFacts::default();
        let mut trigger_row = None;
        for wanted in [true, false] {
            for fact in facts {
                let (key, key_unit) = key_and_unit(&fact.key);
                let Some((setting, specific)) = setting(key).filter(|(_, s)| *s == wanted) else {
                    continue;
                };
                // One value a channel: the first that stands there; they agree in all exports with one time axis.
                let first = fact.values.iter().position(|v| !v.is_empty());
                let Some((value, unit)) = first
                    .and_then(|at| {
                        // `Interval,100,us`: the unit in a cell of its own.
                        let next = fact.values.get(at + 1).map(String::as_str);
                        let of_time = |u: &&str| {
                            unit::parse(u, true).is_some_and(|u| matches!(u.symbol, "s" | "Hz"))
                        };
                        let text = &fact.values[at];
                        let bare = without_points(text, setting, decimal);
                        let text = bare.as_deref().unwrap_or(text);
                        value_of(text, key_unit.or(next.filter(of_time)), decimal)
                    })
                    .filter(|(value, _)| value.is_finite())
                else {
                    continue;
                };
                match setting {
                    Setting::Interval | Setting::Rate => {
                        found.take_interval(setting, value, unit, specific, fact.line);
                    }
                    Setting::Start if matches!(unit, None | Some("s")) => {
                        found.start_s.get_or_insert((value, fact.line));
                    }
                    Setting::Start => {}
                    Setting::Length => {
                        found.length.get_or_insert((value, fact.line));
                    }
                    Setting::TriggerRow if value.fract() == 0.0 && value >= 0.0 => {
                        trigger_row.get_or_insert((value, fact.line));
                    }
                    Setting::TriggerRow => {}
                }
            }
        }
        if let (None, Some((interval, _)), Some((row, line))) =
            (found.start_s, found.interval_s, trigger_row)
        {
            found.start_s = Some((-row * interval, line));
        }
        found
    }

    /// An interval or a rate: the unit decides which it is, else the key.
    fn take_interval(
        &mut self,
        setting: Setting,
        value: f64,
        unit: Option<&str>,
        specific: bool,
        line: usize,
    ) {
        let is_rate = match unit {
            Some("Hz") => true,
            Some("s") => false,
            Some(_) => return,
            // `resolution`, `rate` and the like are said of other things too.
            None if !specific && (setting == Setting::Rate || value >= 1.0) => return,
            None => setting == Setting::Rate,
        };
        let interval = if is_rate { 1.0 / value } else { value };
        if !(interval > 0.0 && interval.is_finite()) {
            return;
        }
        match self.interval_s {
            None => {
                self.interval_unit_unsure = unit.is_none() && !is_rate && value >= LONG_INTERVAL_S;
                self.interval_s = Some((interval, line));
            }
            Some((first, _)) if specific && (first - interval).abs() > 0.01 * first => {
                self.other_interval_s.get_or_insert((interval, line));
            }
            Some(_) => {}
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COMMA: Dialect = Dialect::new(b',', b'.');

    fn fact(line: &str) -> PreambleFact {
        of_line(line.as_bytes(), 1, COMMA, None).swap_remove(0)
    }

    #[test]
    fn keys_and_values_in_all_their_dresses() {
        for (line, key, values) in [
            ("Sample Interval,2e-07", "Sample Interval", vec!["2e-07"]),
            ("\"Attenuation = \",10,1", "Attenuation", vec!["10", "1"]),
            (",#voltbase=500000(uV)", "voltbase", vec!["500000(uV)"]),
            (";Nr of samples,3200", "Nr of samples", vec!["3200"]),
            ("Rate: 1 MSa/s", "Rate", vec!["1 MSa/s"]),
            ("Label,,,", "Label", vec![]),
        ] {
            let fact = fact(line);
            assert_eq!(
                (fact.key.as_str(), &fact.values),
                (key, &values.iter().map(|v| v.to_string()).collect()),
                "{line}"
            );
        }
        assert_eq!(of_line(b",,,", 1, COMMA, None), []);
        let both = of_line(b"CH1,t0 = -5e-3, tInc = 1e-4,", 1, COMMA, None);
        let keys: Vec<&str> = both.iter().map(|f| f.key.as_str()).collect();
        assert_eq!(keys, ["t0", "tInc"]);
    }

    #[test]
    fn interval_from_rate_or_period() {
        let facts = |line| {
            RecordFacts::gather(&[fact(line)], b'.')
                .interval_s
                .map(|i| i.0)
        };
        assert_eq!(facts("\"Sampling Frequency (Hz)=\",500000000,"), Some(2e-9));
        assert_eq!(facts("Sample rate: 2 MSa/s"), Some(5e-7));
        assert_eq!(facts("Sample Interval,5 us"), Some(5e-6));
        assert_eq!(facts("sampling rate : 2500000"), Some(4e-7));
        assert_eq!(facts("Interval,0.08uS"), Some(8e-8));
        assert_eq!(facts("XInc:1.0E-04"), Some(1e-4));
        assert_eq!(facts("Sample rate: 20,000 S/s"), Some(5e-5));
        let german = |line| {
            RecordFacts::gather(&[fact(line)], b',')
                .interval_s
                .map(|i| i.0)
        };
        assert_eq!(german("Abtastrate: 20.000 Hz"), Some(5e-5));
        assert_eq!(german("Abtastrate: 2.500 kHz"), Some(4e-4));
        assert_eq!(german("Abtastrate: 0.500 Hz"), Some(2.0));
        assert_eq!(facts("Sample rate: 1,000,000,,"), Some(1e-6));
        assert_eq!(facts("Resolution: 2 us/pt"), Some(2e-6));
        assert_eq!(facts("Resolution: 12"), None);
        assert_eq!(facts("Sample Interval, 1 kHz"), Some(1e-3));
        assert_eq!(facts("\"Time Scale (s/DIV) =\",1E-7,"), None);
    }
}
