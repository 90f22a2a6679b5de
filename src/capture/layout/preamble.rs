//! What a preamble says, read by the words of the trade in its keys.

use super::sniff::Dialect;
use crate::capture::cell;
use crate::capture::record::{ChannelFacts, PreambleFact};
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

fn simple(key: &str) -> String {
    key.to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// The key without a unit in brackets at its end, and that unit.
fn key_and_unit(key: &str) -> (String, Option<&str>) {
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

/// What a key says of a channel.
enum Topic {
    Ratio,
    Scale,
    Offset,
    Units,
    Coupling,
    Inverted,
    Name,
}

fn topic(key: &str) -> Option<Topic> {
    let has = |word: &str| key.contains(word);
    if has("horizontal") || has("time") || has("trigger") {
        None
    } else if has("probe") || has("attenuation") {
        Some(Topic::Ratio)
    } else if has("vertical scale")
        || has("volts div")
        || matches!(key, "scale" | "v div" | "y scale")
    {
        Some(Topic::Scale)
    } else if has("vertical offset") || matches!(key, "offset" | "y offset") {
        Some(Topic::Offset)
    } else if has("vertical unit") || has("y unit") || matches!(key, "unit" | "units") {
        Some(Topic::Units)
    } else if has("coupling") {
        Some(Topic::Coupling)
    } else if has("invert") {
        Some(Topic::Inverted)
    } else if matches!(key, "source" | "channel name" | "trace") {
        Some(Topic::Name)
    } else {
        None
    }
}

/// `10`, `10X`, `x10`, `10:1`.
fn ratio(text: &str, decimal: u8) -> Option<f64> {
    let text = text.trim().trim_matches(['x', 'X', '"']).trim();
    let text = text.strip_suffix(":1").unwrap_or(text);
    cell::number(text.as_bytes(), decimal).filter(|r| r.is_finite() && *r > 0.0)
}

/// What the preamble says of one channel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct OneChannel {
    pub facts: ChannelFacts,
    pub unit_text: Option<String>,
    pub name: Option<String>,
}

/// A channel of the table, as a key may mean it.
pub struct Seat<'a> {
    /// 0-based column in the table.
    pub column: usize,
    pub name: &'a str,
}

/// Hands the facts to the channels: by a number at the end of the key (`Probe Ratio 1`), by the channel's name in
/// it, else by order where there is one value a channel, else by the column the value stands in.
pub fn of_channels(facts: &[PreambleFact], seats: &[Seat], decimal: u8) -> Vec<OneChannel> {
    let mut channels = vec![OneChannel::default(); seats.len()];
    for fact in facts {
        let (key, key_unit) = key_and_unit(&fact.key);
        let (stem, number) = match key.rsplit_once(' ') {
            Some((stem, last)) if last.chars().all(|c| c.is_ascii_digit()) => {
                (stem.to_string(), last.parse::<usize>().ok())
            }
            _ => (key.clone(), None),
        };
        let by_name = seats.iter().position(|seat| {
            let name = simple(seat.name);
            !name.is_empty() && stem != name && stem.starts_with(&format!("{name} "))
        });
        let stem = match by_name {
            Some(at) => stem[simple(seats[at].name).len()..].trim().to_string(),
            None => stem,
        };
        let Some(topic) = topic(&stem) else { continue };
        let filled = fact.values.iter().filter(|v| !v.is_empty()).count();
        for (at, seat) in seats.iter().enumerate() {
            let value = if let Some(number) = number {
                (number == at + 1).then(|| fact.values.first()).flatten()
            } else if let Some(by_name) = by_name {
                (by_name == at).then(|| fact.values.first()).flatten()
            } else if filled == seats.len() {
                fact.values.iter().filter(|v| !v.is_empty()).nth(at)
            } else if filled > 1 && seat.column > 0 {
                // The key stands in column 0, so values stand one column further left than in the table.
                fact.values.get(seat.column - 1)
            } else {
                None
            };
            let Some(value) = value.filter(|v| !v.is_empty()) else {
                continue;
            };
            let channel = &mut channels[at];
            let quantity = || {
                let (number, unit) = unit::quantity(value, decimal)?;
                let key_unit = key_unit
                    .and_then(|u| u.split('/').next())
                    .and_then(|u| unit::parse(u, false));
                Some(match (unit, key_unit) {
                    (None, Some(unit)) => unit.to_si(number),
                    _ => number,
                })
            };
            match topic {
                Topic::Ratio => channel.facts.probe_ratio = ratio(value, decimal),
                Topic::Scale => channel.facts.vertical_scale_per_division = quantity(),
                Topic::Offset => channel.facts.vertical_offset = quantity(),
                Topic::Units => channel.unit_text = Some(value.clone()),
                Topic::Coupling => channel.facts.coupling = Some(value.clone()),
                Topic::Inverted => {
                    channel.facts.inverted = match value.to_lowercase().as_str() {
                        "no" | "off" | "false" | "0" => Some(false),
                        "yes" | "on" | "true" | "1" => Some(true),
                        _ => None,
                    }
                }
                Topic::Name => channel.name = Some(value.clone()),
            }
        }
    }
    channels
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

    #[test]
    fn facts_reach_their_channel() {
        let lines = ["Probe Ratio 1,10", "Probe Ratio 2,1", "Vertical Units 2,A"];
        let facts: Vec<_> = lines.iter().map(|l| fact(l)).collect();
        let seats = [
            Seat {
                column: 1,
                name: "CH1",
            },
            Seat {
                column: 2,
                name: "CH2",
            },
        ];
        let channels = of_channels(&facts, &seats, b'.');
        assert_eq!(channels[0].facts.probe_ratio, Some(10.0));
        assert_eq!(channels[1].facts.probe_ratio, Some(1.0));
        assert_eq!(channels[1].unit_text.as_deref(), Some("A"));
        let facts = [
            fact("\"Attenuation = \",10,1"),
            fact("\"Inverted = \",\"NO\",\"YES\""),
        ];
        let channels = of_channels(&facts, &seats, b'.');
        assert_eq!(channels[1].facts.probe_ratio, Some(1.0));
        assert_eq!(channels[1].facts.inverted, Some(true));
        assert_eq!(channels[0].facts.coupling, None);
        // Without a time column the values follow the order of the channels all the same.
        let seats = [
            Seat {
                column: 0,
                name: "CH1",
            },
            Seat {
                column: 1,
                name: "CH2",
            },
        ];
        let channels = of_channels(&[fact("Coupling,DC,AC")], &seats, b'.');
        assert_eq!(channels[1].facts.coupling.as_deref(), Some("AC"));
    }
}
