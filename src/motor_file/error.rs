//! What can go wrong with a motor file, with its place.

use std::path::PathBuf;

/// Fault of a motor file or of its storage.
#[derive(Debug, thiserror::Error)]
pub enum MotorFileError {
    #[error("{}: cannot be read: {source}", path.display())]
    Read {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{}: cannot be written: {source}", path.display())]
    Write {
        path: PathBuf,
        source: std::io::Error,
    },
    /// Not JSON, or not the keys and types of a motor file.
    #[error("{}:{line}:{column}: {message}", path.display())]
    Syntax {
        path: PathBuf,
        line: usize,
        column: usize,
        message: String,
    },
    /// JSON of another format.
    #[error("{}: `format` is {found}, expected \"{expected}\"; {hint}", path.display())]
    Format {
        path: PathBuf,
        found: String,
        expected: &'static str,
        hint: &'static str,
    },
    /// Right keys, wrong content.
    #[error("{}: {place}: found {found}, expected {expected}", path.display())]
    Content {
        path: PathBuf,
        /// Keys from the top, joined by dots.
        place: String,
        found: String,
        expected: String,
    },
    /// The file that stands there is something else.
    #[error(
        "{}: already exists and is no motor file ({reason}); choose another name, or pass --force to replace it",
        path.display()
    )]
    WouldOverwrite { path: PathBuf, reason: String },
}
