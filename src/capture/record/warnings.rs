//! Faults that did not stop the reading, with their place.

use crate::capture::wording::{self, WarningKind};
use serde::ser::{Serialize, Serializer};
use std::fmt;
use std::path::{Path, PathBuf};

/// A fault that did not stop the reading, with its place; worded by `Display`.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct Warning {
    /// The file it is about.
    pub path: PathBuf,
    /// 1-based line in the file, where one exists.
    pub line: Option<usize>,
    /// 1-based column, where one exists.
    pub column: Option<usize>,
    /// What was found, with its numbers.
    pub kind: WarningKind,
}

impl Warning {
    /// What was found and what to do, without the place.
    pub fn text(&self) -> String {
        wording::one_line(&self.kind)
    }
}

impl fmt::Display for Warning {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = crate::capture::record::error::Place(&self.path, self.line, self.column);
        write!(f, "{place}: {}", self.text())
    }
}

/// Code and numbers of its kind, place, and what to do.
impl Serialize for Warning {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        #[derive(serde::Serialize)]
        struct Document<'a> {
            line: Option<usize>,
            column: Option<usize>,
            remedy: Option<String>,
            #[serde(flatten)]
            kind: &'a WarningKind,
        }
        let document = Document {
            line: self.line,
            column: self.column,
            remedy: wording::remedy(&self.kind),
            kind: &self.kind,
        };
        document.serialize(serializer)
    }
}

/// The warnings about one file.
pub(in crate::capture) struct Warnings<'p> {
    pub path: &'p Path,
    pub all: Vec<Warning>,
}

impl Warnings<'_> {
    pub fn push(
        &mut self,
        line: impl Into<Option<usize>>,
        column: impl Into<Option<usize>>,
        kind: WarningKind,
    ) {
        self.all.push(Warning {
            path: self.path.to_path_buf(),
            line: line.into(),
            column: column.into(),
            kind,
        });
    }
}
