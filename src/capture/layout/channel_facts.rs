//! What a preamble says of each channel, read by the common words in its keys.

use super::preamble::key_and_unit;
use super::words::{collapsed, is_horizontal_unit};
use crate::capture::cell;
use crate::capture::cell::unit;
use crate::capture::record::{ChannelFacts, PreambleFact};
use crate::quantity::is_listed;

/// A key in lower case, its words parted by one blank.
fn simple(key: &str) -> String {
    key.to_lowercase()
        .chars()
        .map(|c| if c.is_alphanumeric() { c } else { ' ' })
        .collect::<String>()
        .split_whitespace()
        .collect::<Vec<_>>()
        .join(" ")
}

/// `10`, `10X`, `x10`, `10:1`.
fn ratio(text: &str, decimal: u8) -> Option<f64> {
    let text = text.trim().trim_matches(['x', 'X', '"']).trim();
    let text = text.strip_suffix(":1").unwrap_or(text);
    cell::number(text.as_bytes(), decimal).filter(|r| r.is_finite() && *r > 0.0)
}

/// What the preamble says of one channel.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct StatedChannel {
    pub facts: ChannelFacts,
    pub unit_text: Option<String>,
    pub name: Option<String>,
}

impl StatedChannel {
    /// Takes in what `text` says of the topic of a key; `key_unit` is the unit that stands in the key.
    fn take(&mut self, key: &str, text: &str, key_unit: Option<&str>, decimal: u8) {
        const UNITS: &str = "verticalunit yunit vunit unity yaxisunit channelunit signalunit";
        const CODE_STEP: &str = "ymult ymultiplier yincrement yinc verticalmultiplier lsb vperlsb \
            voltsperlsb voltsperbit voltspercount voltspercode codestep";
        const NAME: &str = "source channelname trace tracename channel signalname label";
        let quantity = || {
            let (number, unit) = unit::quantity(text, decimal)?;
            let key_unit = key_unit
                .and_then(|u| u.split('/').next())
                .and_then(|u| unit::parse(u, false));
            Some(match (unit, key_unit) {
                (None, Some(unit)) => unit.to_si(number),
                _ => number,
            })
        };
        let has = |words: &[&str]| words.iter().any(|word| key.contains(word));
        let whole = collapsed(key);
        let is_units = || UNITS.split(' ').any(|word| whole.starts_with(word));
        let facts = &mut self.facts;
        if is_horizontal_unit(key) || has(&["horizontal", "time", "trigger"]) {
            return;
        }
        if has(&["probe", "attenuation"]) {
            facts.probe_ratio = ratio(text, decimal);
        } else if has(&["vertical scale", "volts div"])
            || matches!(key, "scale" | "v div" | "y scale")
        {
            facts.vertical_scale_per_division = quantity();
        } else if has(&["vertical offset"]) || matches!(key, "offset" | "y offset") {
            facts.vertical_offset = quantity();
        } else if is_units() || is_listed("unit units", key) {
            self.unit_text = Some(text.to_string());
        } else if is_listed(CODE_STEP, &whole) {
            facts.code_step = quantity();
        } else if has(&["coupling"]) {
            facts.coupling = Some(text.to_string());
        } else if has(&["invert"]) {
            facts.inverted = match text.to_lowercase().as_str() {
                "no" | "off" | "false" | "0" => Some(false),
                "yes" | "on" | "true" | "1" => Some(true),
                _ => None,
            }
        } else if is_listed(NAME, &whole) {
            self.name = Some(text.to_string());
        }
    }
}

/// A channel of the table, as a key may mean it.
pub struct TableChannel<'a> {
    /// 0-based column in the table.
    pub column: usize,
    pub name: &'a str,
}

/// Hands the facts to the channels: by a number at the end of the key (`Probe Ratio 1`), by the channel's name in
/// it, else by order where there is one value a channel, else by the column the value stands in.
pub fn of_channels(
    facts: &[PreambleFact],
    channels: &[TableChannel],
    decimal: u8,
) -> Vec<StatedChannel> {
    let mut stated = vec![StatedChannel::default(); channels.len()];
    for fact in facts {
        let (key, key_unit) = key_and_unit(&fact.key);
        let key = simple(key);
        let (stem, number) = match key.rsplit_once(' ') {
            Some((stem, last)) if last.chars().all(|c| c.is_ascii_digit()) => {
                (stem, last.parse::<usize>().ok())
            }
            _ => (key.as_str(), None),
        };
        let named = channels.iter().enumerate().find_map(|(at, channel)| {
            let name = simple(channel.name);
            let rest = stem.strip_prefix(&name)?;
            (!name.is_empty() && rest.starts_with(' ')).then(|| (at, rest.trim()))
        });
        let topic = named.map_or(stem, |(_, rest)| rest);
        let mut filled = fact.values.iter().filter(|v| !v.is_empty());
        let count = filled.clone().count();
        for (at, (channel, stated)) in channels.iter().zip(&mut stated).enumerate() {
            let value = match (number, named) {
                (Some(number), _) => fact.values.first().filter(|_| number == at + 1),
                (None, Some((named, _))) => fact.values.first().filter(|_| named == at),
                _ if count == channels.len() => filled.next(),
                // The key stands in column 0, so values stand one column further left than in the table.
                _ if count > 1 && channel.column > 0 => fact.values.get(channel.column - 1),
                _ => None,
            };
            if let Some(value) = value.filter(|v| !v.is_empty()) {
                stated.take(topic, value, key_unit, decimal);
            }
        }
    }
    stated
}

#[cfg(test)]
mod tests {
    use super::super::dialect::Dialect;
    use super::super::preamble::of_line;
    use super::*;

    const COMMA: Dialect = Dialect::new(b',', b'.');

    fn fact(line: &str) -> PreambleFact {
        of_line(line.as_bytes(), 1, COMMA, None).swap_remove(0)
    }

    #[test]
    fn facts_reach_their_channel() {
        let lines = ["Probe Ratio 1,10", "Probe Ratio 2,1", "Vertical Units 2,A"];
        let facts: Vec<_> = lines.iter().map(|l| fact(l)).collect();
        let seats = [
            TableChannel {
                column: 1,
                name: "CH1",
            },
            TableChannel {
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
            TableChannel {
                column: 0,
                name: "CH1",
            },
            TableChannel {
                column: 1,
                name: "CH2",
            },
        ];
        let channels = of_channels(&[fact("Coupling,DC,AC")], &seats, b'.');
        assert_eq!(channels[1].facts.coupling.as_deref(), Some("AC"));
    }
}
