//! Guesses over a folder of captures, gathered into one [`Draft`].

use super::doubts::{Shown, of_another_motor};
use super::record_guess::{RecordGuess, codes_spanned, level, shown, unused, warnings};
use super::records::{DraftError, capture_files, records};
use super::tables::{self, DraftTable};
use super::text::{Draft, DraftCapture, DraftChannel, DraftShaft};
use crate::bench::capture::Role;
use crate::bench::captures::stem;
use crate::bench::channels::{converter_bits, without_unit};
use crate::capture::{ReadError, Record};
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
    let (named, unnamed): (Vec<String>, Vec<String>) = files
        .into_iter()
        .partition(|file| matches!(one_line(file), Cow::Borrowed(_)));
    draft.left_out.extend(unnamed.iter().map(|file| {
        let reason = "its name holds invisible characters; rename the file";
        (one_line(file).into_owned(), reason.to_owned())
    }));
    let mut seen = Vec::new();
    for (files, record) in records(folder, &named) {
        match capture_in(folder, &files, record, look) {
            Ok((one, shaft)) => {
                let known = |drafted: &[DraftShaft], s: &DraftShaft| {
                    let same = |d: &DraftShaft| d.column == s.column && d.signal == s.signal;
                    drafted.iter().any(same)
                };
                for channel in shaft {
                    if !known(&draft.shaft, &channel) {
                        draft.shaft.push(channel);
                    }
                }
                seen.push(one);
            }
            Err(NoCapture::Table(table)) => draft.tables.push(table),
            Err(NoCapture::LeftOut(why)) => draft.left_out.push((files[0].clone(), why)),
        }
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

/// What a file is that holds no capture.
enum NoCapture {
    Table(DraftTable),
    /// With the reason.
    LeftOut(String),
}

/// The capture in a file, or in several of one channel each, and its channels of the shaft.
fn capture_in(
    folder: &Path,
    files: &[String],
    record: Result<Record, ReadError>,
    look: &dyn Fn(&Record) -> RecordGuess,
) -> Result<(Seen, Vec<DraftShaft>), NoCapture> {
    let (file, further) = (&files[0], &files[1..]);
    let readings_or = |why: String| match tables::readings(folder, file) {
        Some(table) => NoCapture::Table(table),
        None => NoCapture::LeftOut(why),
    };
    let record = record.map_err(|error| readings_or(error.to_string()))?;
    if let Some(table) = tables::heat(folder, file, &record) {
        return Err(NoCapture::Table(table));
    }
    let guess = look(&record);
    let name = |index: Option<usize>| column_name(&record, index?);
    let (voltage, current) = (name(guess.voltage), name(guess.current));
    if voltage.is_none() && current.is_none() {
        return Err(readings_or(guess.column_reasons.join("; ")));
    }
    if guess.role == Role::Driven {
        return Err(NoCapture::LeftOut(format!(
            "{}. If the shaft was driven, add the capture with role = \"driven\" and driven_speed = {{ rpm = ..., limit_rpm = ... }}",
            guess.role_reason
        )));
    }
    let shaft = guess.shaft.iter().filter_map(|(index, signal, why)| {
        let channel = record.channels.get(*index)?;
        Some(DraftShaft::of(name(Some(*index))?, *signal, channel, why))
    });
    let shaft = shaft.collect();
    let used = [guess.voltage, guess.current].into_iter();
    let seen = Seen {
        voltage,
        current,
        level: level(&record, &guess),
        codes: used
            .filter_map(|i| codes_spanned(&record, i))
            .fold(0.0, f64::max),
        shown: shown(&record, &guess),
        unused: unused(&record, &guess),
        warnings: warnings(&record, &guess),
        file: file.clone(),
        further: further.to_vec(),
        guess,
    };
    Ok((seen, shaft))
}

/// Without its unit, unless another column differs in that alone.
fn column_name(record: &Record, index: usize) -> Option<String> {
    let channel = record.channels.get(index)?;
    let bare = without_unit(&channel.name);
    let channels = record.channels.iter();
    let same = channels.filter(|c| without_unit(&c.name) == bare).count();
    let name = if same > 1 { &channel.name } else { bare };
    Some(name.to_string())
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
