//! Why a file could not be read: its place, what was found, what was expected, the next step.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Why [`read`](fn@super::read) gave no record.
#[derive(Clone, Debug, PartialEq, Eq)]
#[non_exhaustive]
pub struct ReadError {
    /// The file read.
    pub path: PathBuf,
    /// 1-based line, where one exists.
    pub line: Option<usize>,
    /// 1-based column, where one exists.
    pub column: Option<usize>,
    /// Found, expected, next step.
    pub text: String,
}

impl fmt::Display for ReadError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.path.display())?;
        for part in [self.line, self.column].into_iter().flatten() {
            write!(f, ":{part}")?;
        }
        write!(f, ": {}", self.text)
    }
}

impl std::error::Error for ReadError {}

impl ReadError {
    pub(super) fn new(
        path: &Path,
        line: impl Into<Option<usize>>,
        text: impl Into<String>,
    ) -> ReadError {
        ReadError {
            path: path.to_path_buf(),
            line: line.into(),
            column: None,
            text: text.into(),
        }
    }

    pub(super) fn in_column(self, column: usize) -> ReadError {
        ReadError {
            column: Some(column),
            ..self
        }
    }

    /// A fault found within the chain of readers, which do not know their file: it passes them as an input error.
    pub(super) fn of_stream(line: Option<usize>, text: String) -> io::Error {
        io::Error::other(ReadError::new(Path::new(""), line, text))
    }

    /// An input error; a fault of the chain of readers gets its file.
    pub(super) fn from_io(path: &Path, error: io::Error) -> ReadError {
        match error.downcast::<ReadError>() {
            Ok(fault) => ReadError {
                path: path.to_path_buf(),
                ..fault
            },
            Err(error) => {
                let next = "Check the path and its permissions";
                ReadError::new(path, None, format!("cannot be read: {error}. {next}"))
            }
        }
    }
}
