//! Guesses over a folder of captures, gathered into one [`Draft`].

use super::doubts::{Shown, of_another_motor};
use super::record_guess::{RecordGuess, codes_spanned, level, shown, unused, warnings};
use super::records::{DraftError, capture_files, records};
use super::tables::{self, DraftTable};
use super::text::{Draft, DraftCapture, DraftChannel, DraftShaft};
use crate::bench::capture::Role;
use crate::bench::captures::stem;
use crate::bench::channels::{converter_bits, without_unit};
use crate::capture::Record;
use crate::quantity::one_line;
use std::borrow::Cow;
use std::path::Path;

/// Guesses a sheet for every capture in `folder` (not below it). `look` looks at each record.
///
/// # Errors
/// The folder cannot be listed, or holds no capture that can be read; a file that cannot be read is left out, with the reason.
pub fn guess_sheet(
    folder: &Path,
    look: &dyn Fn(&Record) -> RecordGuess,
) -> Result<Draft, DraftError> {
    guess_sheet_of(folder, capture_files(folder)?, look)
}

/// As [`guess_sheet`], for these files; paths are relative to `folder`.
///
/// # Errors
/// None of the files can be read as a capture.
pub fn guess_sheet_of(
    folder: &Path,
    files: Vec<String>,
    look: &dyn Fn(&Record) -> RecordGuess,
) -> Result<Draft, DraftError> {
    let mut draft = Draft {
        motor_name: folder_name(folder),
        ..Draft::default()
    };
    let mut seen = Vec::new();
    let (named, unnamed): (Vec<String>, Vec<String>) = files
        .into_iter()
        .partition(|file| matches!(one_line(file), Cow::Borrowed(_)));
    draft.left_out.extend(unnamed.iter().map(|file| {
        let reason = "its name holds invisible characters; rename the file";
        (one_line(file).into_owned(), reason.to_owned())
    }));
    for (mut files, record) in records(folder, &named) {
        let file = files.remove(0);
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                match tables::readings(folder, &file) {
                    Some(table) => draft.tables.push(table),
                    None => draft.left_out.push((file, error.to_string())),
                }
                continue;
            }
        };
        if let Some(table) = tables::heat(folder, &file, &record) {
            draft.tables.push(table);
            continue;
        }
        let guess = look(&record);
        let name = |index: Option<usize>| {
            let channel = record.channels.get(index?)?;
            let bare = without_unit(&channel.name);
            let same = record
                .channels
                .iter()
                .filter(|c| without_unit(&c.name) == bare);
            // Two columns may differ in their unit alone.
            Some(
                if same.count() > 1 {
                    &channel.name
                } else {
                    bare
                }
                .to_string(),
            )
        };
        let (voltage, current) = (name(guess.voltage), name(guess.current));
        if voltage.is_none() && current.is_none() {
            match tables::readings(folder, &file) {
                Some(table) => draft.tables.push(table),
                None => draft.left_out.push((file, guess.column_reasons.join("; "))),
            }
            continue;
        }
        if guess.role == Role::Driven {
            draft.left_out.push((
                file,
                format!(
                    "{}. If the shaft was driven, add the capture with role = \"driven\" and driven_speed = {{ rpm = ..., limit_rpm = ... }}",
                    guess.role_reason
                ),
            ));
            continue;
        }
        for (index, signal, why) in &guess.shaft {
            let (Some(column), Some(channel)) = (name(Some(*index)), record.channels.get(*index))
            else {
                continue;
            };
            let known = |s: &DraftShaft| s.column == column && s.signal == *signal;
            if !draft.shaft.iter().any(known) {
                let shaft = DraftShaft::of(column, *signal, channel, why);
                draft.shaft.push(shaft);
            }
        }
        seen.push(Seen {
            voltage,
            current,
            level: level(&record, &guess),
            codes: [guess.voltage, guess.current]
                .into_iter()
                .filter_map(|i| codes_spanned(&record, i))
                .fold(0.0, f64::max),
            shown: shown(&record, &guess),
            unused: unused(&record, &guess),
            warnings: warnings(&record, &guess),
            file,
            further: files,
            guess,
        });
    }
    if seen.is_empty() {
        let why = "a table of readings, no capture: enter it under [[tables]] or [[heat]] of the sheet of the captures (docs/bench_sheet.md)";
        let no_capture = |t: DraftTable| (t.file, why.to_owned());
        draft
            .left_out
            .extend(draft.tables.into_iter().map(no_capture));
        return Err(DraftError {
            folder: folder.to_owned(),
            text: None,
            left_out: draft.left_out,
        });
    }
    draft.supply_v = supply(&seen);
    draft.bits = bits(&seen);
    channels(&mut draft, &seen);
    let shown: Vec<Shown> = seen
        .iter_mut()
        .map(|one| std::mem::take(&mut one.shown))
        .collect();
    for (one, doubt) in seen.iter().zip(of_another_motor(&shown)) {
        let mut capture = drafted(one, &draft);
        capture.warnings.extend(doubt);
        draft.captures.push(capture);
    }
    Ok(draft)
}

struct Seen {
    file: String,
    further: Vec<String>,
    /// Column names without their units.
    voltage: Option<String>,
    current: Option<String>,
    /// Level that the voltage reaches.
    level: Option<f64>,
    /// Quantisation steps that the widest trace spans; 0 where none is seen.
    codes: f64,
    shown: Shown,
    unused: String,
    warnings: Vec<String>,
    guess: RecordGuess,
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

/// Median over the captures of the upper end of the voltage while the source drives.
fn supply(seen: &[Seen]) -> Option<(f64, String)> {
    let mut levels: Vec<f64> = seen
        .iter()
        .filter(|s| matches!(s.guess.role, Role::Start | Role::RunDown | Role::Steady))
        .filter_map(|s| s.level)
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
    let codes = seen.iter().map(|s| s.codes).fold(0.0, f64::max);
    let why = format!("the widest trace spans {codes:.0} of its own steps");
    Some((converter_bits(codes)?, why))
}

/// One voltage and one current channel where the files allow it; else one a column name.
fn channels(draft: &mut Draft, seen: &[Seen]) {
    let voltages = names(seen, |s| s.voltage.as_ref());
    let currents = names(seen, |s| s.current.as_ref());
    // A name that is voltage in one file and current in another cannot be looked for by name over all files.
    let crossed = voltages.iter().any(|v| currents.contains(v));
    draft.voltage = group(&voltages, crossed, " voltage")
        .into_iter()
        .map(|columns| {
            let of = |s: &&Seen| s.voltage.as_ref().is_some_and(|v| columns.1.contains(v));
            channel(
                columns.clone(),
                seen.iter().filter(of),
                |g| g.voltage_reversed,
                |_| false,
            )
        })
        .collect();
    draft.current = group(&currents, crossed, " current")
        .into_iter()
        .map(|columns| {
            let of = |s: &&Seen| s.current.as_ref().is_some_and(|c| columns.1.contains(c));
            channel(
                columns.clone(),
                seen.iter().filter(of),
                |g| g.current_reversed,
                |g| g.current_in_volts,
            )
        })
        .collect();
}

fn names(seen: &[Seen], pick: fn(&Seen) -> Option<&String>) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for name in seen.iter().filter_map(pick) {
        if !names.contains(name) {
            names.push(name.clone());
        }
    }
    names
}

/// Channel names with the columns each stands for.
fn group(names: &[String], crossed: bool, suffix: &str) -> Vec<(String, Vec<String>)> {
    if crossed {
        names
            .iter()
            .map(|n| (format!("{n}{suffix}"), vec![n.clone()]))
            .collect()
    } else {
        names
            .first()
            .map(|first| (first.clone(), names.to_vec()))
            .into_iter()
            .collect()
    }
}

fn channel<'s>(
    (name, columns): (String, Vec<String>),
    captures: impl Iterator<Item = &'s Seen>,
    reversed: fn(&RecordGuess) -> bool,
    raw_volts: fn(&RecordGuess) -> bool,
) -> DraftChannel {
    let captures: Vec<&Seen> = captures.collect();
    let wrong = captures.iter().filter(|s| reversed(&s.guess)).count();
    let raw = captures.iter().filter(|s| raw_volts(&s.guess)).count();
    let mut why = captures
        .first()
        .map_or_else(String::new, |s| s.guess.column_reasons.join("; "));
    if wrong > 0 {
        why.push_str(&format!(
            "; the sign is wrong in {wrong} of {} captures",
            captures.len()
        ));
    }
    DraftChannel {
        name,
        columns,
        why,
        raw_volts: 2 * raw > captures.len(),
        // A single capture may deceive; most of them do not.
        reversed: 2 * wrong > captures.len(),
    }
}

fn drafted(one: &Seen, draft: &Draft) -> DraftCapture {
    let channel_of = |channels: &[DraftChannel], column: &Option<String>| {
        let column = column.as_ref()?;
        (channels.len() > 1)
            .then(|| channels.iter().find(|c| c.columns.contains(column)))
            .flatten()
            .map(|c| c.name.clone())
    };
    let guess = &one.guess;
    let mut why = format!(
        "{} (confidence {:.2})",
        guess.role_reason, guess.role_confidence
    );
    if !guess.alternatives.is_empty() {
        let others: Vec<&str> = guess.alternatives.iter().map(|r| r.name()).collect();
        why.push_str(&format!("; could also be {}", others.join(", ")));
    }
    let mut warnings = one.warnings.clone();
    if guess.role_confidence < 0.5 {
        warnings.push(format!(
            "the role is a weak guess (confidence {:.2}): look at the capture",
            guess.role_confidence
        ));
    }
    DraftCapture {
        name: stem(&one.file),
        file: one.file.clone(),
        further: one.further.clone(),
        role: guess.role,
        confidence: guess.role_confidence,
        why,
        unused: one.unused.clone(),
        warnings,
        voltage_channel: channel_of(&draft.voltage, &one.voltage),
        current_channel: channel_of(&draft.current, &one.current),
        voltage_recorded: one.voltage.is_some() || draft.voltage.is_empty(),
        current_recorded: one.current.is_some() || draft.current.is_empty(),
        current_raw_volts: one
            .current
            .as_ref()
            .and_then(|column| draft.current.iter().find(|c| c.columns.contains(column)))
            .filter(|channel| channel.raw_volts != guess.current_in_volts)
            .map(|_| guess.current_in_volts),
    }
}
