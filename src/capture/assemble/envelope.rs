//! Columns that hold the least and the largest value of a channel within each row's time (peak detection), put back as two samples a row.

use crate::capture::record::{Channel, TimeAxis};
use crate::capture::wording::WarningKind;

/// Words of names for the least and for the largest value; `low` and `high` are ends of a bridge as well. Those of three letters may be joined to another word (`Umin`).
const WORDS: [(&str, &str); 4] = [
    ("minimum", "maximum"),
    ("min", "max"),
    ("lower", "upper"),
    ("lowest", "highest"),
];

/// Where `word` stands as a word of its own, or at the end of one where it is `min` or `max`.
fn word_at(name: &str, word: &str) -> Option<usize> {
    let letter = |c: Option<char>| c.is_some_and(char::is_alphabetic);
    name.match_indices(word).map(|(at, _)| at).find(|at| {
        let (before, after) = (&name[..*at], &name[at + word.len()..]);
        !letter(after.chars().next()) && (word.len() == 3 || !letter(before.chars().next_back()))
    })
}

/// The common name of both columns; `None` where the names are not those of the least and the largest of one channel.
fn common_name(least: &str, largest: &str) -> Option<String> {
    let (low, high) = (least.to_lowercase(), largest.to_lowercase());
    WORDS.iter().find_map(|(small, large)| {
        let (at, there) = (word_at(&low, small)?, word_at(&high, large)?);
        let (before, after) = (&low[..at], &low[at + small.len()..]);
        if before != &high[..there] || after != &high[there + large.len()..] {
            return None;
        }
        // Lower case may have another length; then it serves as the name.
        let name = if low.len() == least.len() && least.is_char_boundary(at) {
            least
        } else {
            &low
        };
        let trim = |text: &str| {
            let text = text.trim_matches([' ', '_', '-', '.', ',', ':']);
            text.to_string()
        };
        let parts = [trim(&name[..at]), trim(&name[at + small.len()..])];
        Some(parts.join(" ").trim().to_string())
    })
}

/// Whether one column is nowhere above the other, and below it somewhere.
fn encloses(least: &Channel, largest: &Channel) -> bool {
    let pairs = || least.values.iter().zip(&largest.values);
    let ordered = |(a, b): (&f64, &f64)| a <= b || a.is_nan() || b.is_nan();
    least.unit == largest.unit && pairs().all(ordered) && pairs().any(|(a, b)| a < b)
}

/// Whether a column is the mean of a channel of that name, which holds nothing that both others do not.
fn is_mean_of(name: &str, common: &str) -> bool {
    let low = name.to_lowercase();
    ["average", "avg", "mean"].into_iter().any(|word| {
        word_at(&low, word).is_some_and(|at| {
            let rest = format!("{} {}", &low[..at], &low[at + word.len()..]);
            let bare = |text: &str| text.replace(|c: char| !c.is_alphanumeric(), "");
            bare(&rest) == bare(&common.to_lowercase())
        })
    })
}

/// Joins such columns to one channel with both values of a row, the second half a step later; other channels keep their value for both.
/// Gives the warning of it with the 1-based column of the first, or nothing where there are none.
pub(in crate::capture) fn unfold(
    channels: &mut Vec<Channel>,
    time: &mut TimeAxis,
) -> Option<(usize, WarningKind)> {
    let mut pairs: Vec<(usize, usize, String)> = Vec::new();
    for (at, least) in channels.iter().enumerate() {
        let partner = channels.iter().enumerate().find_map(|(other, largest)| {
            let name = common_name(&least.name, &largest.name)?;
            (other != at && encloses(least, largest)).then_some((other, name))
        });
        pairs.extend(partner.map(|(other, name)| (at, other, name)));
    }
    let column = channels[pairs.first()?.0].column;
    let columns = |(a, b, _): &(usize, usize, String)| (channels[*a].column, channels[*b].column);
    let listed = pairs.iter().map(columns).collect();
    let partner_of = |at: usize| pairs.iter().find(|pair| pair.0 == at);
    let mut joined = Vec::with_capacity(channels.len());
    for (at, channel) in channels.iter().enumerate() {
        let is_mean = |pair: &(usize, usize, String)| is_mean_of(&channel.name, &pair.2);
        if pairs.iter().any(|pair| pair.1 == at || is_mean(pair)) {
            continue;
        }
        let second = partner_of(at).map_or(channel, |pair| &channels[pair.1]);
        let mut both = channel.clone();
        if let Some((.., name)) = partner_of(at).filter(|pair| !pair.2.is_empty()) {
            both.name.clone_from(name);
        }
        both.missing += second.missing;
        let values = channel.values.iter().zip(&second.values);
        both.values = values.flat_map(|(a, b)| [*a, *b]).collect();
        let marks = |of: &Channel, shift: usize| -> Vec<(usize, bool)> {
            let rows = of.overrange.iter();
            rows.map(|(row, above)| (2 * row + shift, *above)).collect()
        };
        both.overrange = marks(channel, 0);
        both.overrange.extend(marks(second, 1));
        both.overrange.sort_unstable();
        joined.push(both);
    }
    *channels = joined;
    halve_steps(time);
    let step_s = match time {
        TimeAxis::Uniform { step_s, .. } => Some(*step_s),
        _ => None,
    };
    let pairs = listed;
    Some((column, WarningKind::Envelope { pairs, step_s }))
}

/// Twice as many rows in the same time.
fn halve_steps(time: &mut TimeAxis) {
    match time {
        TimeAxis::Uniform { step_s, len, .. } => {
            *step_s *= 0.5;
            *len *= 2;
        }
        TimeAxis::Absent { len } => *len *= 2,
        TimeAxis::Listed(times) => {
            let last = times.windows(2).last().map_or(0.0, |w| w[1] - w[0]);
            let ends = times.iter().skip(1).copied();
            let ends = ends.chain(times.last().map(|time| time + last));
            let pairs = times.iter().zip(ends);
            *times = pairs.flat_map(|(a, b)| [*a, 0.5 * (a + b)]).collect();
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::capture::{ReadOptions, read_from};
    use std::path::Path;

    #[test]
    fn names_of_the_least_and_the_largest_have_a_common_one() {
        for (least, largest, name) in [
            ("CH1 min(V)", "CH1 max(V)", Some("CH1 (V)")),
            ("Umin", "Umax", Some("U")),
            ("Minimum CH2", "Maximum CH2", Some("CH2")),
            ("CH1 Lower", "CH1 Upper", Some("CH1")),
            ("min", "max", Some("")),
            ("CH1 min", "CH2 max", None),
            ("V_low", "V_high", None),
            ("CH1", "CH2", None),
        ] {
            assert!(!is_mean_of(least, "CH1"));
            assert_eq!(common_name(least, largest).as_deref(), name, "{least}");
        }
    }

    #[test]
    fn the_mean_of_such_a_channel_is_none_of_its_own() {
        assert!(is_mean_of("CH1_AVG", "CH1") && is_mean_of("U mean (V)", "U (V)"));
        assert!(!is_mean_of("CH2_AVG", "CH1"));
    }

    #[test]
    fn both_values_of_a_row_are_samples() {
        let mut text = "Time,CH1 max,CH1 min,CH2\ns,V,V,A\n".to_string();
        for k in 0..40 {
            let v = if k < 20 { 0.0 } else { 12.0 };
            text += &format!("{:.4},{},{},{}\n", 1e-3 * f64::from(k), v + 0.1, v - 0.1, k);
        }
        let read = |options: &ReadOptions| {
            read_from(Path::new("x.csv"), text.as_bytes(), options).expect("reads")
        };
        let record = read(&ReadOptions::default());
        assert_eq!(record.channels.len(), 2);
        assert_eq!(record.channels[0].name, "CH1");
        assert_eq!(record.channels[0].values[38..42], [-0.1, 0.1, 11.9, 12.1]);
        assert_eq!(record.channels[1].values[2..4], [1.0, 1.0]);
        assert_eq!(
            (record.time.len(), record.channels[0].values.len()),
            (80, 80)
        );
        let step = record.time.at(3).expect("time") - record.time.at(2).expect("time");
        assert!((step - 5e-4).abs() < 1e-9, "{step}");
        assert!(
            record
                .warnings
                .iter()
                .any(|w| w.text().contains("columns 3 and 2"))
        );
        let apart = ReadOptions {
            envelope_columns: true,
            ..ReadOptions::default()
        };
        assert_eq!(read(&apart).channels.len(), 3);
    }
}
