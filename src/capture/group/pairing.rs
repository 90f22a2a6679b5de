//! Files that hold one channel each of one event, recognised by their names: `start_CH1.csv` and `start_CH2.csv`, `brake voltage.csv` and
//! `brake current.csv`.

use std::path::{Path, PathBuf};

/// Words of a name that tell the channel.
const WORDS: [&str; 10] = [
    "voltage", "current", "volt", "amp", "spannung", "strom", "u", "i", "v", "a",
];
/// Words that a number follows.
const NUMBERED: [&str; 5] = ["channel", "chan", "ch", "trace", "c"];

/// The name without what tells the channel, and that; `None` where nothing does.
pub(in crate::capture) fn channel_of(path: &Path) -> Option<(String, String)> {
    let name = path.file_name()?.to_string_lossy().to_lowercase();
    let parts = words(&name);
    parts.iter().enumerate().find_map(|(at, &(begin, end))| {
        let word = &name[begin..end];
        let stem = word.trim_end_matches(|c: char| c.is_ascii_digit());
        let digits = word.len() - stem.len();
        let channel = if (1..=2).contains(&digits) && NUMBERED.contains(&stem) {
            (begin, end)
        } else if NUMBERED.contains(&word) {
            // `CH 1`, `channel_2`.
            let next = parts.get(at + 1)?;
            let number = &name[next.0..next.1];
            (number.len() <= 2 && number.bytes().all(|b| b.is_ascii_digit()))
                .then_some((begin, next.1))?
        } else if WORDS.contains(&word) {
            (begin, end)
        } else {
            return None;
        };
        let rest = format!("{}{}", &name[..channel.0], &name[channel.1..]);
        let place = path.with_file_name(rest);
        Some((
            place.display().to_string(),
            name[channel.0..channel.1].to_string(),
        ))
    })
}

/// Bounds of the words in a name: letters with the digits behind them. The ending of the file is none.
fn words(name: &str) -> Vec<(usize, usize)> {
    let plain = name.strip_suffix(".gz").unwrap_or(name);
    let plain = plain.rsplit_once('.').map_or(plain, |(stem, _)| stem);
    let mut found: Vec<(usize, usize)> = Vec::new();
    let mut before = ' ';
    for (at, c) in plain.char_indices() {
        let end = at + c.len_utf8();
        // `F0001CH1`: letters begin a word behind digits too.
        let begins = !before.is_alphanumeric() || (before.is_ascii_digit() && c.is_alphabetic());
        match found.last_mut() {
            Some(last) if c.is_alphanumeric() && !begins => last.1 = end,
            _ if c.is_alphanumeric() => found.push((at, end)),
            _ => {}
        }
        before = c;
    }
    found
}

/// Groups files that differ in the channel of their name alone; all others stand by themselves. The order of the files is kept.
pub fn group_by_channel(paths: &[PathBuf]) -> Vec<Vec<PathBuf>> {
    /// Key and channels of a group.
    type Told = Option<(String, Vec<String>)>;
    let mut groups: Vec<(Told, Vec<PathBuf>)> = Vec::new();
    for path in paths {
        let told = channel_of(path);
        let mut open = groups.iter_mut();
        let partner = told.as_ref().and_then(|(key, channel)| {
            open.find(|(group, _)| {
                group
                    .as_ref()
                    .is_some_and(|(k, channels)| k == key && !channels.contains(channel))
            })
        });
        match (partner, told) {
            (Some((Some((_, channels)), files)), Some((_, channel))) => {
                channels.push(channel);
                files.push(path.clone());
            }
            (_, told) => {
                let group = told.map(|(key, channel)| (key, vec![channel]));
                groups.push((group, vec![path.clone()]));
            }
        }
    }
    groups.into_iter().map(|(_, files)| files).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_of_one_event_are_told_by_the_channel_in_their_names() {
        let paths = |names: &[&str]| -> Vec<PathBuf> { names.iter().map(PathBuf::from).collect() };
        for pair in [
            ["start_CH1.csv", "start_CH2.csv"],
            ["F0001CH1.csv", "F0001CH2.csv"],
            ["C1--start--00000.txt", "C2--start--00000.txt"],
            ["brake voltage.csv.gz", "brake current.csv.gz"],
            ["run/U_start.csv", "run/I_start.csv"],
            ["channel_1_coast.csv", "channel_2_coast.csv"],
        ] {
            assert_eq!(group_by_channel(&paths(&pair)).len(), 1, "{pair:?}");
        }
        for apart in [
            ["start_1.csv", "start_2.csv"],
            ["start_CH1.csv", "brake_CH2.csv"],
            ["a/start_CH1.csv", "b/start_CH2.csv"],
            ["start.csv", "brake.csv"],
            ["F0001CH1.csv", "F0002CH2.csv"],
        ] {
            assert_eq!(group_by_channel(&paths(&apart)).len(), 2, "{apart:?}");
        }
    }
}
