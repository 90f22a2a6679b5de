//! One record from several files: exports of one event with a file a channel, on one time axis.
//!
//! The times are those of the first file, cut to the stretch that all files cover. Samples of the others are taken over where they lie
//! at those times, and interpolated linearly between neighbours elsewhere.

use crate::capture::group::pairing;
use crate::capture::read::options::ReadOptions;
use crate::capture::read::read;
use crate::capture::record::error::ReadError;
use crate::capture::record::warnings::Warning;
use crate::capture::record::{Channel, Record, TimeAxis};
use crate::capture::wording::{LayoutRule, ReadErrorKind, WarningKind};
use std::path::{Path, PathBuf};

/// Times closer than this share of a step are the same.
const SAME_SHARE: f64 = 1e-3;

/// Reads files that together hold one event. The columns of later files count on behind those of the first.
///
/// # Errors
/// As [`read()`](fn@read), and files whose times do not overlap or are not known.
pub fn read_joined(paths: &[PathBuf], options: &ReadOptions) -> Result<Record, ReadError> {
    let mut records = Vec::with_capacity(paths.len());
    for path in paths {
        records.push(read(path, options)?);
    }
    join(records)
}

/// Files of one group by their names ([`group_by_channel`](crate::capture::group_by_channel)): one record where each holds a single channel and
/// their times overlap, else a record a file. Each record comes with its files.
pub fn read_group(
    group: &[PathBuf],
    options: &ReadOptions,
) -> Vec<(Vec<PathBuf>, Result<Record, ReadError>)> {
    let read_all = || {
        group
            .iter()
            .map(|path| (vec![path.clone()], read(path, options)))
    };
    let apart: Vec<_> = read_all().collect();
    let single = |record: &Record| record.channels.len() == 1;
    let all_single = apart.iter().all(|(_, r)| r.as_ref().is_ok_and(single));
    if group.len() < 2 || !all_single {
        return apart;
    }
    let records: Vec<Record> = apart
        .iter()
        .filter_map(|(_, r)| r.as_ref().ok().cloned())
        .collect();
    match join(records) {
        Ok(record) => vec![(group.to_vec(), Ok(record))],
        Err(_) => apart,
    }
}

fn join(records: Vec<Record>) -> Result<Record, ReadError> {
    let mut records = records.into_iter();
    let Some(mut first) = records.next() else {
        return Err(ReadError::new(Path::new(""), None, ReadErrorKind::NoFile));
    };
    for other in records {
        first = with(first, other)?;
    }
    Ok(first)
}

/// Adds the channels of `other` to those of `first`.
fn with(mut first: Record, other: Record) -> Result<Record, ReadError> {
    let offset = first.channels.iter().map(|c| c.column).max().unwrap_or(0);
    let same = same_times(&first.time, &other.time);
    let mut added: Vec<Channel> = other.channels;
    if !same {
        let stretch = overlap(&first.time, &other.time).ok_or_else(|| {
            let other_file = first.path.display().to_string();
            let kind = ReadErrorKind::NoOverlap { other: other_file };
            ReadError::new(&other.path, None, kind)
        })?;
        let moved = places(&first.time, &other.time, stretch);
        first.warnings.push(Warning {
            path: other.path.clone(),
            line: None,
            column: None,
            kind: WarningKind::TimesAligned {
                other: first.path.display().to_string(),
                rows: other.time.len(),
                other_rows: first.time.len(),
                common: moved.len(),
                interpolated: moved.iter().any(|place| place.fract() != 0.0),
            },
        });
        cut(&mut first, stretch);
        added
            .iter_mut()
            .for_each(|channel| resample(channel, &moved));
    }
    for channel in &mut added {
        let same = |c: &&mut Channel| bare(&c.name) == bare(&channel.name);
        if let Some(taken) = first.channels.iter_mut().find(same) {
            taken.name = named_for(&first.path, &taken.name);
            channel.name = named_for(&other.path, &channel.name);
        }
        channel.column += offset;
    }
    let of_file = |rule| LayoutRule::OfFile {
        file: name_of(&other.path),
        rule: Box::new(rule),
    };
    first.layout.extend(other.layout.into_iter().map(of_file));
    first.channels.extend(added);
    first.preamble.extend(other.preamble);
    first.warnings.extend(other.warnings);
    first.parts.push((other.path, other.sha256));
    first.parts.extend(other.parts);
    Ok(first)
}

fn name_of(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |n| n.to_string_lossy().into_owned())
}

/// A name without the unit in brackets, which alone does not tell two channels apart.
fn bare(name: &str) -> String {
    name.split(['(', '['])
        .next()
        .unwrap_or(name)
        .trim()
        .to_lowercase()
}

/// A name that two files have, with what tells the file from its partner.
fn named_for(path: &Path, name: &str) -> String {
    match pairing::channel_of(path) {
        Some((_, channel)) => format!("{channel} {name}"),
        None => format!("{} {name}", name_of(path)),
    }
}

fn bounds(axis: &TimeAxis) -> Option<(f64, f64)> {
    Some((axis.at(0)?, axis.at(axis.len().checked_sub(1)?)?))
}

fn step(axis: &TimeAxis) -> Option<f64> {
    let (first, last) = bounds(axis)?;
    (axis.len() > 1).then(|| (last - first) / (axis.len() - 1) as f64)
}

fn same_times(a: &TimeAxis, b: &TimeAxis) -> bool {
    if a.len() != b.len() {
        return false;
    }
    match (bounds(a), bounds(b), step(a)) {
        (Some(a_bounds), Some(b_bounds), Some(step)) => {
            let near = |x: f64, y: f64| (x - y).abs() <= SAME_SHARE * step;
            let even = |axis: &TimeAxis| matches!(axis, TimeAxis::Uniform { .. });
            let ends = near(a_bounds.0, b_bounds.0) && near(a_bounds.1, b_bounds.1);
            ends && ((even(a) && even(b)) || a == b)
        }
        (None, None, _) => true,
        _ => false,
    }
}

/// Rows of `a` (first and behind the last) whose times lie within those of `b`; `None` where fewer than two do.
fn overlap(a: &TimeAxis, b: &TimeAxis) -> Option<(usize, usize)> {
    let (first, last) = bounds(b)?;
    let room = SAME_SHARE * step(b)?;
    let inside = |row: &usize| {
        a.at(*row)
            .is_some_and(|t| t >= first - room && t <= last + room)
    };
    let begin = (0..a.len()).find(inside)?;
    let end = (begin..a.len()).rfind(inside)? + 1;
    (end - begin > 1).then_some((begin, end))
}

/// Where the rows of a stretch of `a` lie among the rows of `b`; a whole number where they lie on one.
fn places(a: &TimeAxis, b: &TimeAxis, (begin, end): (usize, usize)) -> Vec<f64> {
    let last = b.len().saturating_sub(1) as f64;
    let place = |time: f64| match b {
        TimeAxis::Uniform {
            start_s, step_s, ..
        } => (time - start_s) / step_s,
        TimeAxis::Listed(times) => {
            let next = times
                .partition_point(|t| *t <= time)
                .clamp(1, times.len().max(2) - 1);
            let (before, after) = (times[next - 1], times[next]);
            (next - 1) as f64 + (time - before) / (after - before)
        }
        TimeAxis::Absent { .. } => 0.0,
    };
    let snapped = |place: f64| match (place - place.round()).abs() <= SAME_SHARE {
        true => place.round(),
        false => place,
    };
    (begin..end)
        .filter_map(|row| a.at(row))
        .map(|time| snapped(place(time)).clamp(0.0, last))
        .collect()
}

/// Keeps a stretch of rows.
fn cut(record: &mut Record, (begin, end): (usize, usize)) {
    record.time = match &record.time {
        TimeAxis::Uniform {
            start_s, step_s, ..
        } => TimeAxis::Uniform {
            start_s: start_s + begin as f64 * step_s,
            step_s: *step_s,
            len: end - begin,
        },
        TimeAxis::Listed(times) => TimeAxis::Listed(times[begin..end].to_vec()),
        TimeAxis::Absent { .. } => TimeAxis::Absent { len: end - begin },
    };
    let rows: Vec<f64> = (begin..end).map(|row| row as f64).collect();
    for channel in &mut record.channels {
        resample(channel, &rows);
    }
}

/// Values at the given places among the rows. An overrange mark spoils the values that rest on it.
fn resample(channel: &mut Channel, places: &[f64]) {
    let mut marks = vec![None; channel.values.len()];
    for &(row, positive) in &channel.overrange {
        marks[row] = Some(positive);
    }
    let around = |place: f64| (place.floor() as usize, place.ceil() as usize);
    let value = |&place: &f64| {
        let (low, high) = around(place);
        let (a, b) = (channel.values[low], channel.values[high]);
        if low == high {
            a
        } else {
            a + (b - a) * place.fract()
        }
    };
    let values: Vec<f64> = places.iter().map(value).collect();
    let marked = places.iter().enumerate().filter_map(|(row, &place)| {
        let (low, high) = around(place);
        Some((row, marks[low].or(marks[high])?))
    });
    channel.overrange = marked.collect();
    channel.missing = values.iter().filter(|v| v.is_nan()).count();
    channel.values = values;
}
