//! The captures in a folder, those of one event in several files together.

use super::endings::ENDINGS;
use super::error::DraftError;
use crate::capture::{self, ReadError, ReadOptions, Record};
use std::path::{Path, PathBuf};

/// Files in `folder`, not below it, whose endings are those of exports; sorted.
pub(super) fn capture_files(folder: &Path) -> Result<Vec<String>, DraftError> {
    let entries = std::fs::read_dir(folder).map_err(|source| DraftError::List {
        folder: folder.to_owned(),
        source,
    })?;
    let mut files = Vec::new();
    for entry in entries {
        let entry = entry.map_err(|source| DraftError::Entry {
            folder: folder.to_owned(),
            source,
        })?;
        // A name that is no UTF-8 could not be written into the sheet.
        let Ok(name) = entry.file_name().into_string() else {
            continue;
        };
        if has_capture_ending(&name) && entry.path().is_file() {
            files.push(name);
        }
    }
    files.sort();
    Ok(files)
}

/// True for names of files that are tried as captures.
pub fn has_capture_ending(name: &str) -> bool {
    let lower = name.to_lowercase();
    let plain = lower.strip_suffix(".gz").unwrap_or(&lower);
    plain
        .rsplit_once('.')
        .is_some_and(|(stem, ending)| !stem.is_empty() && ENDINGS.contains(&ending))
}

/// The records of the files, with the names of their files: several where they hold one channel each of one event.
pub(super) fn records(
    folder: &Path,
    files: &[String],
) -> impl Iterator<Item = (Vec<String>, Result<Record, ReadError>)> {
    let paths: Vec<PathBuf> = files.iter().map(|file| folder.join(file)).collect();
    let folder = folder.to_owned();
    let name = move |path: &PathBuf| {
        let name = path.strip_prefix(&folder).unwrap_or(path);
        name.to_string_lossy().into_owned()
    };
    capture::group_by_channel(&paths)
        .into_iter()
        .flat_map(|group| capture::read_group(&group, &ReadOptions::default()))
        .map(move |(paths, record)| (paths.iter().map(&name).collect(), record))
}
