//! A report on disk, written atomically.

use super::{Report, ReportError, context::FORMAT, render};
use crate::files;
use std::io::{self, Read};
use std::path::Path;

/// In the head of every page, by which one of ours is known again.
pub const MARK: &str = "<meta name=\"generator\" content=\"rundown";

/// How far into a file is looked for [`MARK`] or the format.
const HEAD: u64 = 4096;

/// Which of the two files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Target {
    /// The HTML page.
    Page,
    /// Its data as JSON.
    Data,
}

/// The data as JSON, ending in a line feed. What is not a number is `null`.
///
/// # Errors
/// [`ReportError::Json`], which no report of finite size should meet.
pub fn to_json(report: &Report) -> Result<String, ReportError> {
    let mut text = serde_json::to_string(report)?;
    text.push('\n');
    Ok(text)
}

/// Writes the page or the data at `path`.
///
/// # Errors
/// As [`check_target`], [`render`] and [`to_json`], or [`ReportError::Write`]; the file is then as it was.
pub fn write(path: &Path, report: &Report, target: Target, force: bool) -> Result<(), ReportError> {
    refuse(path, target, force)?;
    let text = match target {
        Target::Page => render(report)?,
        Target::Data => to_json(report)?,
    };
    files::put(
        path,
        text.as_bytes(),
        |path| refuse(path, target, force),
        |source| ReportError::Write {
            path: path.to_owned(),
            source,
        },
    )
}

/// Refuses to replace a file that is no report, before the long work.
///
/// # Errors
/// [`ReportError::WouldOverwrite`], [`ReportError::Write`] when no file can be put there.
pub fn check_target(path: &Path, target: Target, force: bool) -> Result<(), ReportError> {
    files::check_place(path).map_err(|source| ReportError::Write {
        path: path.to_owned(),
        source,
    })?;
    refuse(path, target, force)
}

fn refuse(path: &Path, target: Target, force: bool) -> Result<(), ReportError> {
    if force {
        return Ok(());
    }
    let refuse = |reason: String| {
        Err(ReportError::WouldOverwrite {
            path: path.to_owned(),
            reason,
        })
    };
    let mut head = Vec::new();
    match std::fs::File::open(path).and_then(|file| file.take(HEAD).read_to_end(&mut head)) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
        Err(error) => return refuse(format!("it cannot be read ({error})")),
        Ok(_) => {}
    }
    let head = String::from_utf8_lossy(&head);
    let stem = FORMAT.split('/').next().unwrap_or(FORMAT);
    match target {
        Target::Page if head.contains(MARK) => Ok(()),
        Target::Data if head.contains(&format!("\"format\":\"{stem}/")) => Ok(()),
        Target::Page => refuse("a file is there that is no report page of this program".into()),
        Target::Data => refuse("a file is there that holds no report data of this program".into()),
    }
}
