//! Why a bench sheet could not become a bench: each error names place, found, expected and next step.

use crate::capture::ReadError;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

/// A position in a bench sheet.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Place {
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
pub enum BenchError {
    #[error("{}: the bench sheet cannot be read: {source}", path.display())]
    Unreadable {
        path: PathBuf,
        source: std::io::Error,
    },
    #[error("{place}: this is not TOML: {text}")]
    NotToml { place: Place, text: String },
    #[error("{place}: unknown key `{key}` in {table}; the nearest known key is `{nearest}`. Known here: {}", known.join(", "))]
    UnknownKey {
        place: Place,
        key: String,
        table: Box<str>,
        nearest: String,
        known: Vec<String>,
    },
    #[error("{place}: `{key}` in {table} is {found}, expected {expected}")]
    WrongType {
        place: Place,
        key: String,
        table: Box<str>,
        found: String,
        expected: String,
    },
    #[error("{place}: {table} lacks the key `{key}`: {hint}")]
    Missing {
        place: Place,
        key: String,
        table: Box<str>,
        hint: String,
    },
    /// A name that is not among those known (a role, a kind, an instrument, a channel, a capture).
    #[error("{place}: `{found}` is no known {what}{}. Known: {}", nearest.as_ref().map(|n| format!("; the nearest is `{n}`")).unwrap_or_default(), if known.is_empty() { "none".to_string() } else { known.join(", ") })]
    UnknownName {
        place: Place,
        what: Box<str>,
        found: String,
        nearest: Option<String>,
        known: Vec<String>,
    },
    /// A value that is well formed but cannot be meant.
    #[error("{place}: {text}")]
    Invalid { place: Place, text: String },
    #[error("{place}: `{file}` lies outside the folder of the bench sheet ({folder}). Put the capture beside the sheet, or allow files outside with --allow-outside", folder = folder.display())]
    Outside {
        place: Place,
        file: String,
        folder: PathBuf,
    },
    #[error("{}capture \"{name}\": {source}", place.as_ref().map(|p| format!("{p}: ")).unwrap_or_default())]
    Capture {
        place: Option<Place>,
        name: String,
        source: Box<ReadError>,
    },
    /// A capture was read, but a channel cannot be found in it or used.
    #[error("{}capture \"{name}\" ({file}): {text}", place.as_ref().map(|p| format!("{p}: ")).unwrap_or_default(), file = file.display())]
    Channel {
        place: Option<Place>,
        name: String,
        file: PathBuf,
        text: String,
    },
    /// Quick runs have no sheet and so no place.
    #[error("{0}")]
    Flags(String),
}
