//! What can go wrong with a motor file, with its place.

use std::path::PathBuf;

/// Fault of a motor file or of its storage.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum MotorFileError {
    /// The file cannot be read.
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// The file cannot be written.
    #[error("{}: cannot be written: {source}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// Not JSON, or not the keys and types of a motor file.
    #[error("{}:{line}:{column}: {message}", path.display())]
    Syntax {
        /// The file.
        path: PathBuf,
        /// 1-based line.
        line: usize,
        /// 1-based column.
        column: usize,
        /// What is wrong.
        message: String,
    },
    /// JSON of another format.
    #[error("{}: `format` is {found}, expected \"{expected}\"; {hint}", path.display())]
    Format {
        /// The file.
        path: PathBuf,
        /// What was found.
        found: String,
        /// What was expected.
        expected: &'static str,
        /// What to do.
        hint: &'static str,
    },
    /// Right keys, wrong content.
    #[error("{}: {place}: found {found}, expected {expected}", path.display())]
    Content {
        /// The file.
        path: PathBuf,
        /// Keys from the top, joined by dots.
        place: String,
        /// What was found.
        found: String,
        /// What was expected.
        expected: String,
    },
    /// The file that is there is something else.
    #[error(
        "{}: already exists and is no motor file ({reason}); choose another name, or pass --force to replace it",
        path.display()
    )]
    WouldOverwrite {
        /// The file that is there.
        path: PathBuf,
        /// Why it must not be replaced.
        reason: String,
    },
}
