//! The captures in a folder, those of one event in several files together, and why none could be drafted from.

use crate::capture::{self, ReadError, ReadOptions, Record};
use std::fmt;
use std::path::{Path, PathBuf};

/// Endings of files that are tried as captures; `.gz` may follow.
const ENDINGS: [&str; 6] = ["csv", "tsv", "txt", "dat", "asc", "tab"];

/// Why no bench sheet could be drafted from a folder.
#[derive(Debug)]
#[non_exhaustive]
pub struct DraftError {
    /// The folder as it was named.
    pub folder: PathBuf,
    /// What the system reports, where the folder cannot be listed.
    pub text: Option<String>,
    /// Files that were tried, and why each was left out.
    pub left_out: Vec<(String, String)>,
}

impl fmt::Display for DraftError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}: ", self.folder.display())?;
        if let Some(text) = &self.text {
            return f.write_str(text);
        }
        f.write_str("no capture could be read")?;
        if self.left_out.is_empty() {
            let endings = ENDINGS.join(", ");
            return write!(
                f,
                ". No file in it ends in {endings} (or these with .gz); folders below it are not searched: name the one with the captures"
            );
        }
        let mut each = self.left_out.iter();
        each.try_for_each(|(file, why)| write!(f, "\n{file}: {why}"))
    }
}

impl std::error::Error for DraftError {}

/// Files in `folder`, not below it, whose endings are those of exports; sorted.
pub(super) fn capture_files(folder: &Path) -> Result<Vec<String>, DraftError> {
    let fail = |text: String| DraftError {
        folder: folder.to_owned(),
        text: Some(text),
        left_out: Vec::new(),
    };
    let entries = std::fs::read_dir(folder).map_err(|source| {
        let next = "Name a folder that holds the exported captures";
        fail(format!("the folder cannot be listed: {source}. {next}"))
    })?;
    let mut files = Vec::new();
    for entry in entries {
        let entry = entry.map_err(|source| fail(source.to_string()))?;
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
