//! Why a file could not be read, with its place.

use crate::capture::wording::{self, ReadErrorKind};
use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Why [`read`](fn@crate::capture::read) gave no record; worded by `Display`.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct ReadError {
    /// The file read.
    pub path: PathBuf,
    /// 1-based line, where one exists.
    pub line: Option<usize>,
    /// 1-based column, where one exists.
    pub column: Option<usize>,
    /// What was found, with its numbers.
    pub kind: Box<ReadErrorKind>,
}

/// File, line and column, the latter where they exist: `a.csv:12:3`.
pub(in crate::capture) struct Place<'a>(pub &'a Path, pub Option<usize>, pub Option<usize>);

impl fmt::Display for Place<'_> {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.0.display())?;
        let mut parts = [self.1, self.2].into_iter().flatten();
        parts.try_for_each(|part| write!(f, ":{part}"))
    }
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let place = Place(&self.path, self.line, self.column);
        write!(f, "{place}: {}", self.text())
    }
}

impl std::error::Error for ReadError {}

impl ReadError {
    pub(in crate::capture) fn new(
        path: &Path,
        line: impl Into<Option<usize>>,
        kind: ReadErrorKind,
    ) -> ReadError {
        ReadError {
            path: path.to_path_buf(),
            line: line.into(),
            column: None,
            kind: Box::new(kind),
        }
    }

    /// What was found and what to do, without the place.
    pub fn text(&self) -> String {
        wording::one_line(&self.kind)
    }

    pub(in crate::capture) fn in_column(self, column: impl Into<Option<usize>>) -> ReadError {
        ReadError {
            column: column.into(),
            ..self
        }
    }

    /// A fault found within the chain of readers, which do not know their file: it passes them as an input error.
    pub(in crate::capture) fn of_stream(line: Option<usize>, kind: ReadErrorKind) -> io::Error {
        io::Error::other(ReadError::new(Path::new(""), line, kind))
    }

    /// An input error; a fault of the chain of readers gets its file.
    pub(in crate::capture) fn from_io(path: &Path, error: io::Error) -> ReadError {
        match error.downcast::<ReadError>() {
            Ok(fault) => ReadError {
                path: path.to_path_buf(),
                ..fault
            },
            Err(error) => {
                let reason = error.to_string();
                ReadError::new(path, None, ReadErrorKind::Io { reason })
            }
        }
    }
}
