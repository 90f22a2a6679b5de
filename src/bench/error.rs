//! Why a bench sheet could not become a bench: each error names place, found, expected and next step.

use crate::capture::ReadError;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A position in a bench sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
    /// The bench sheet.
    pub path: Arc<Path>,
    /// 1-based line.
    pub line: u32,
    /// 1-based column, counted in characters.
    pub column: u32,
}

impl fmt::Display for Place {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}:{}:{}", self.path.display(), self.line, self.column)
    }
}

/// Why a bench could not be built.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum BenchError {
    /// The sheet is missing or not readable.
    #[error("{}: the bench sheet cannot be read: {source}", path.display())]
    Unreadable {
        /// The bench sheet.
        path: PathBuf,
        /// Error of the operating system.
        source: std::io::Error,
    },
    /// The text is not valid TOML.
    #[error("{place}: this is not TOML: {text}")]
    NotToml {
        /// Where the parser stopped.
        place: Place,
        /// Message of the parser.
        text: String,
    },
    /// A key that its table does not know; often a spelling error.
    #[error("{place}: unknown key `{key}` in {table}; the nearest known key is `{nearest}`. Known here: {}", known.join(", "))]
    UnknownKey {
        /// Position of the key.
        place: Place,
        /// The key as written.
        key: String,
        /// The table that holds it.
        table: Box<str>,
        /// Known key with the smallest edit distance.
        nearest: String,
        /// All keys that this table knows.
        known: Vec<String>,
    },
    /// A value of the wrong TOML type.
    #[error("{place}: `{key}` in {table} is {found}, expected {expected}")]
    WrongType {
        /// Position of the value.
        place: Place,
        /// The key as written.
        key: String,
        /// The table that holds it.
        table: Box<str>,
        /// Type of the value with an excerpt of its text.
        found: String,
        /// The types that the key accepts.
        expected: String,
    },
    /// A required key is absent.
    #[error("{place}: {table} lacks the key `{key}`: {hint}")]
    Missing {
        /// Position of the table.
        place: Place,
        /// The absent key.
        key: String,
        /// The table that lacks it.
        table: Box<str>,
        /// How to state it.
        hint: String,
    },
    /// A name that is not among those known (a role, a kind, an instrument, a channel, a capture).
    #[error("{place}: `{found}` is no known {what}{}. Known: {}", nearest.as_ref().map(|n| format!("; the nearest is `{n}`")).unwrap_or_default(), if known.is_empty() { "none".to_string() } else { known.join(", ") })]
    UnknownName {
        /// Position of the name.
        place: Place,
        /// What the name should denote: a role, a kind, an instrument.
        what: Box<str>,
        /// The name as written.
        found: String,
        /// Known name with the smallest edit distance, where one is near.
        nearest: Option<String>,
        /// All names allowed here.
        known: Vec<String>,
    },
    /// A value that is well formed but cannot be meant.
    #[error("{place}: {text}")]
    Invalid {
        /// Position of the value.
        place: Place,
        /// What was found, what was expected, what to do.
        text: String,
    },
    /// A capture outside the folder of the sheet, without permission to read there.
    #[error("{place}: `{file}` lies outside the folder of the bench sheet ({folder}). Put the capture beside the sheet, or allow files outside with --allow-outside", folder = folder.display())]
    Outside {
        /// Position of the file name.
        place: Place,
        /// The file name as written.
        file: String,
        /// Folder of the bench sheet.
        folder: PathBuf,
    },
    /// The file of a capture cannot be read.
    #[error("{}capture \"{name}\": {source}", place.as_ref().map(|p| format!("{p}: ")).unwrap_or_default())]
    Capture {
        /// Position of the file name; `None` without a sheet.
        place: Option<Place>,
        /// Name of the capture.
        name: String,
        /// Error of the importer.
        source: Box<ReadError>,
    },
    /// A capture was read, but a channel cannot be found in it or used.
    #[error("{}capture \"{name}\" ({file}): {text}", place.as_ref().map(|p| format!("{p}: ")).unwrap_or_default(), file = file.display())]
    Channel {
        /// Position of the channel or the capture; `None` without a sheet.
        place: Option<Place>,
        /// Name of the capture.
        name: String,
        /// File of the capture.
        file: PathBuf,
        /// What was found, what was expected, what to do.
        text: String,
    },
    /// Quick runs have no sheet and so no place.
    #[error("{0}")]
    Flags(String),
}
