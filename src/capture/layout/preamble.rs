//! What a preamble says of the whole record, read by the common words in its keys.

use super::dialect::Dialect;
use crate::capture::cell;
use crate::capture::record::PreambleFact;
use crate::capture::source;
use crate::capture::unit;
use encoding_rs::Encoding;

/// Reads one line above the table as key and values; `None` where it says nothing.
pub fn of_line(
    line: &[u8],
    number: usize,
    dialect: Dialect,
    named: Option<&'static Encoding>,
) -> Option<PreambleFact> {
    let bare = cell::trim(line);
    // A delimiter may precede the comment mark (`,#key=value`).
    let marked = bare
        .iter()
        .position(|b| !matches!(b, b',' | b' ' | b'\t'))
        .map_or(bare, |at| &bare[at..]);
    let comment = marked
        .first()
        .is_some_and(|b| matches!(b, b'#' | b';' | b'!' | b'%'));
    let body = if comment {
        let after = marked
            .iter()
            .position(|b| !matches!(b, b'#' | b';' | b'!' | b'%' | b' '))?;
        &marked[after..]
    } else {
        line
    };
    let mut cells: Vec<String> = dialect
        .split(body)
        .iter()
        .map(|c| source::text(cell::trim(c), named).trim().to_string())
        .collect();
    if cells.iter().skip(1).all(String::is_empty) {
        let only = cells.first().cloned().unwrap_or_default();
        let other = match only
            .split_once('=')
            .or_else(|| only.split_once(':'))
            .or_else(|| only.split_once('\t'))
            .or_else(|| only.split_once(';'))
            .or_else(|| only.split_once(','))
        {
            Some((key, value)) => vec![key.trim().to_string(), value.trim().to_string()],
            None => vec![only],
        };
        cells = other;
    }
    while cells.last().is_some_and(String::is_empty) {
        cells.pop();
    }
    let key = cells
        .first()?
        .trim_matches(|c: char| c.is_whitespace() || matches!(c, '=' | ':' | '"'))
        .to_string();
    if key.is_empty() {
        return None;
    }
    Some(PreambleFact {
        line: number,
        key,
        values: cells.split_off(1),
    })
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
}

pub(super) fn simple(key: &str) -> String {
    key.to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The key without a unit in brackets at its end, and that unit.
pub(super) fn key_and_unit(key: &str) -> (String, Option<&str>) {
    let unit = unit::of_name(key).filter(|_| key.contains(['(', '[']));
    let stem = if unit.is_some() {
        key.rfind(['(', '[']).map_or(key, |at| &key[..at])
    } else {
        key
    };
    (simple(stem), unit)
}

impl RecordFacts {
    /// Collects the facts of the whole record from all preamble lines; the first that says a thing wins.
    pub fn gather(facts: &[PreambleFact], decimal: u8) -> RecordFacts {
        let mut found = RecordFacts::default();
        for fact in facts {
            let (key, key_unit) = key_and_unit(&fact.key);
            // One value a channel: the first that stands there; they agree in all exports with one time axis.
            let Some((value, unit)) = fact
                .values
                .iter()
                .find(|v| !v.is_empty())
                .and_then(|v| unit::quantity(v, decimal).or_else(|| unit::quantity(v, b'.')))
            else {
                continue;
            };
            let scaled = match (unit, key_unit.and_then(|u| unit::parse(u, true))) {
                (None, Some(unit)) => unit.to_si(value),
                _ => value,
            };
            let slot = match key.as_str() {
                "sample interval" | "sampling interval" | "sample period" | "sampling period"
                | "increment" | "x increment" | "xincrement" | "xincr" | "delta x" | "deltax"
                | "delta t" | "dt" | "time step" | "timestep" | "step" | "interval"
                | "time per sample" | "abtastintervall" => {
                    (scaled > 0.0).then_some((&mut found.interval_s, scaled))
                }
                "sample rate" | "sampling rate" | "samplerate" | "sampling frequency"
                | "sample frequency" | "abtastrate" => {
                    (scaled > 0.0).then(|| (&mut found.interval_s, 1.0 / scaled))
                }
                "start"
                | "x0"
                | "xzero"
                | "x zero"
                | "x origin"
                | "xorigin"
                | "start time"
                | "first time"
                | "t0"
                | "time of first sample" => Some((&mut found.start_s, scaled)),
                "record length"
                | "number of points"
                | "number of data points"
                | "nr of samples"
                | "number of samples"
                | "samples"
                | "points"
                | "nr of points"
                | "no of samples"
                | "no of points"
                | "sample count"
                | "memory length"
                | "size" => Some((&mut found.length, scaled)),
                _ => None,
            };
            if let Some((slot, value)) = slot
                && slot.is_none()
                && value.is_finite()
            {
                *slot = Some((value, fact.line));
            }
        }
        found
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const COMMA: Dialect = Dialect::new(b',', b'.');

    fn fact(line: &str) -> PreambleFact {
        of_line(line.as_bytes(), 1, COMMA, None).expect("a fact")
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
        assert_eq!(of_line(b",,,", 1, COMMA, None), None);
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
        assert_eq!(facts("\"Time Scale (s/DIV) =\",1E-7,"), None);
    }
}
