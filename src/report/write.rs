//! A report on disk, whole or not at all.

use super::{Report, ReportError, context::FORMAT, render};
use crate::motor_file::write_whole;
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
    check_target(path, target, force)?;
    let text = match target {
        Target::Page => render(report)?,
        Target::Data => to_json(report)?,
    };
    write_whole(path, text.as_bytes()).map_err(|source| ReportError::Write {
        path: path.to_owned(),
        source,
    })
}

/// Refuses to replace a file that is no report, so that it is told before the long work.
///
/// # Errors
/// [`ReportError::WouldOverwrite`].
pub fn check_target(path: &Path, target: Target, force: bool) -> Result<(), ReportError> {
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
