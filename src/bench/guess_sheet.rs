//! Guesses over a folder of captures, gathered into one [`Draft`].

use super::channel::without_unit;
use super::convert::short;
use super::doubts;
use super::draft::{Draft, DraftCapture, DraftChannel};
use super::guess_columns::{ColumnGuess, guess_columns};
use super::read_sheet::stem;
use super::setup::Role;
use super::waveform::{Trace, Waveform};
use crate::capture::{self, Channel, ReadOptions, Record};
use std::path::Path;

/// Endings of files that are tried as captures; `.gz` may follow.
const ENDINGS: [&str; 6] = ["csv", "tsv", "txt", "dat", "asc", "tab"];

/// What somebody who knows waveforms says of one.
#[derive(Clone, Debug, PartialEq)]
pub struct GuessedRole {
    pub role: Role,
    /// 0 to 1.
    pub confidence: f64,
    pub reason: String,
    pub alternatives: Vec<Role>,
}

/// Guesses a sheet for every capture in `folder` (not below it). `guess_role` looks at each waveform.
///
/// # Errors
/// The folder cannot be listed, or holds no capture that can be read; a file that cannot be read is left out and told.
pub fn guess_sheet(
    folder: &Path,
    guess_role: &dyn Fn(&Waveform) -> GuessedRole,
) -> Result<Draft, String> {
    let files = capture_files(folder)?;
    let mut draft = Draft {
        motor_name: folder_name(folder),
        ..Draft::default()
    };
    let mut seen = Vec::new();
    for file in files {
        let record = match capture::read(&folder.join(&file), &ReadOptions::default()) {
            Ok(record) => record,
            Err(error) => {
                draft.left_out.push((file, error.to_string()));
                continue;
            }
        };
        let columns = guess_columns(&record);
        if columns.voltage.is_none() && columns.current.is_none() {
            draft
                .left_out
                .push((file, "no column with numbers beside the time".into()));
            continue;
        }
        let waveform = Waveform {
            time: record.time.clone(),
            voltage_v: columns.voltage.as_ref().map(|c| bare(&record, c)),
            current_a: columns.current.as_ref().map(|c| bare(&record, c)),
        };
        let role = guess_role(&waveform);
        seen.push(Seen {
            voltage: columns.voltage.map(|c| named(&record, c)),
            current: columns.current.map(|c| named(&record, c)),
            doubts: record.remarks.iter().map(|r| r.text.clone()).collect(),
            file,
            waveform,
            role,
        });
    }
    if seen.is_empty() {
        let told: Vec<String> = draft
            .left_out
            .iter()
            .map(|(file, why)| format!("{file}: {why}"))
            .collect();
        return Err(format!(
            "{}: no capture could be read. {}",
            folder.display(),
            if told.is_empty() {
                format!("No file ends in {} (or these with .gz)", ENDINGS.join(", "))
            } else {
                told.join("; ")
            }
        ));
    }
    draft.supply_v = supply(&seen);
    draft.bits = bits(&seen);
    channels(&mut draft, &seen);
    for one in &seen {
        let capture = drafted(one, &draft);
        draft.captures.push(capture);
    }
    Ok(draft)
}

struct Seen {
    file: String,
    voltage: Option<NamedColumn>,
    current: Option<NamedColumn>,
    waveform: Waveform,
    role: GuessedRole,
    doubts: Vec<String>,
}

struct NamedColumn {
    name: String,
    reason: String,
    raw_volts: bool,
}

fn named(record: &Record, guess: ColumnGuess) -> NamedColumn {
    NamedColumn {
        name: without_unit(&record.channels[guess.index].name).to_string(),
        reason: guess.reason,
        raw_volts: guess.raw_volts,
    }
}

fn bare(record: &Record, guess: &ColumnGuess) -> Trace {
    let channel: &Channel = &record.channels[guess.index];
    Trace {
        values: channel.values.clone(),
        quantisation_step: capture::quantisation_step(&channel.values),
        clipped: capture::clipped(channel),
    }
}

fn folder_name(folder: &Path) -> String {
    folder
        .canonicalize()
        .ok()
        .as_deref()
        .unwrap_or(folder)
        .file_name()
        .map_or_else(
            || "unnamed motor".to_string(),
            |n| n.to_string_lossy().replace('_', " "),
        )
}

fn capture_files(folder: &Path) -> Result<Vec<String>, String> {
    let entries = std::fs::read_dir(folder).map_err(|error| {
        format!(
            "{}: the folder cannot be listed: {error}. Name a folder that holds the exported captures",
            folder.display()
        )
    })?;
    let mut files = Vec::new();
    for entry in entries {
        let entry = entry.map_err(|error| format!("{}: {error}", folder.display()))?;
        // A name that is no UTF-8 could not be written into the sheet.
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        let lower = name.to_lowercase();
        let plain = lower.strip_suffix(".gz").unwrap_or(&lower);
        let fits = plain
            .rsplit_once('.')
            .is_some_and(|(stem, ending)| !stem.is_empty() && ENDINGS.contains(&ending));
        if fits && entry.path().is_file() {
            files.push(name);
        }
    }
    files.sort();
    Ok(files)
}

/// Median over the captures of the upper end of the voltage while the source drives.
fn supply(seen: &[Seen]) -> Option<(f64, String)> {
    let mut levels: Vec<f64> = seen
        .iter()
        .filter(|s| matches!(s.role.role, Role::Start | Role::RunDown | Role::Steady))
        .filter_map(|s| s.waveform.voltage_v.as_ref())
        .filter_map(doubts::upper_level)
        .filter(|v| *v > 0.0)
        .collect();
    levels.sort_by(f64::total_cmp);
    let level = *levels.get(levels.len() / 2)?;
    let digits = 2 - level.log10().floor() as i32;
    let rounded = if digits > 0 {
        let power = 10f64.powi(digits);
        (level * power).round() / power
    } else {
        level.round()
    };
    Some((
        rounded,
        format!(
            "upper end of the voltage, median over {} captures that show the source",
            levels.len()
        ),
    ))
}

fn bits(seen: &[Seen]) -> Option<(u32, String)> {
    let codes = seen
        .iter()
        .flat_map(|s| [&s.waveform.voltage_v, &s.waveform.current_a])
        .flatten()
        .filter_map(|t| {
            let step = t.quantisation_step.filter(|s| *s > 0.0)?;
            let (low, high) = t
                .values
                .iter()
                .filter(|v| !v.is_nan())
                .fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), v| {
                    (l.min(*v), h.max(*v))
                });
            Some((high - low) / step)
        })
        .fold(0.0, f64::max);
    let bits = [8u32, 10, 12, 14, 16]
        .into_iter()
        .find(|b| codes <= 2f64.powi(*b as i32))?;
    (codes > 0.0).then(|| {
        (
            bits,
            format!("the widest trace spans {codes:.0} of its own steps"),
        )
    })
}

/// One voltage and one current channel where the files allow it; else one a column name.
fn channels(draft: &mut Draft, seen: &[Seen]) {
    let names = |pick: fn(&Seen) -> Option<&NamedColumn>| -> Vec<String> {
        let mut names: Vec<String> = Vec::new();
        for column in seen.iter().filter_map(pick) {
            if !names.contains(&column.name) {
                names.push(column.name.clone());
            }
        }
        names
    };
    let voltages = names(|s| s.voltage.as_ref());
    let currents = names(|s| s.current.as_ref());
    // A name that is voltage in one file and current in another cannot be looked for by name over all files.
    let crossed = voltages.iter().any(|v| currents.contains(v));
    draft.voltage = group(seen, |s| s.voltage.as_ref(), &voltages, crossed, " voltage");
    draft.current = group(seen, |s| s.current.as_ref(), &currents, crossed, " current");
    let reversed = seen
        .iter()
        .filter(|s| doubts::current_is_reversed(&s.waveform, s.role.role))
        .count();
    if reversed > 0 {
        let driven = seen
            .iter()
            .filter(|s| !matches!(s.role.role, Role::RunDown))
            .count();
        for channel in &mut draft.current {
            channel.reversed = 2 * reversed > driven;
            channel.why.push_str(&format!(
                "; the current has the wrong sign in {reversed} of {driven} captures that tell it"
            ));
        }
    }
}

fn group(
    seen: &[Seen],
    pick: fn(&Seen) -> Option<&NamedColumn>,
    names: &[String],
    crossed: bool,
    suffix: &str,
) -> Vec<DraftChannel> {
    let sets: Vec<Vec<String>> = if crossed {
        names.iter().map(|n| vec![n.clone()]).collect()
    } else if names.is_empty() {
        Vec::new()
    } else {
        vec![names.to_vec()]
    };
    sets.into_iter()
        .map(|columns| {
            let first = seen
                .iter()
                .filter_map(pick)
                .find(|c| columns.contains(&c.name));
            let name = &columns[0];
            DraftChannel {
                name: if crossed {
                    format!("{name}{suffix}")
                } else {
                    name.clone()
                },
                why: first.map_or_else(String::new, |c| c.reason.clone()),
                raw_volts: first.is_some_and(|c| c.raw_volts),
                reversed: false,
                columns,
            }
        })
        .collect()
}

fn drafted(one: &Seen, draft: &Draft) -> DraftCapture {
    let channel_of = |channels: &[DraftChannel], column: &Option<NamedColumn>| {
        let column = column.as_ref()?;
        (channels.len() > 1)
            .then(|| channels.iter().find(|c| c.columns.contains(&column.name)))
            .flatten()
            .map(|c| c.name.clone())
    };
    let mut why = format!("{} (confidence {:.2})", one.role.reason, one.role.confidence);
    if !one.role.alternatives.is_empty() {
        let others: Vec<&str> = one
            .role
            .alternatives
            .iter()
            .map(|r| super::draft::role_name(*r))
            .collect();
        why.push_str(&format!("; could also be {}", others.join(", ")));
    }
    let mut doubts = one.doubts.clone();
    if one.role.confidence < 0.5 {
        doubts.push(format!(
            "the role is a weak guess (confidence {}): look at the capture",
            short(one.role.confidence)
        ));
    }
    DraftCapture {
        name: stem(&one.file),
        file: one.file.clone(),
        role: one.role.role,
        why,
        doubts,
        voltage_channel: channel_of(&draft.voltage, &one.voltage),
        current_channel: channel_of(&draft.current, &one.current),
        voltage_recorded: one.voltage.is_some() || draft.voltage.is_empty(),
        current_recorded: one.current.is_some() || draft.current.is_empty(),
    }
}
