//! Why a lot could not be run or written. What goes wrong with one motor is no error here but that motor's record.

use std::path::{Path, PathBuf};

/// A lot that could not be run, gathered or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LotError {
    /// A file or folder that cannot be read or written, or holds something else.
    #[error("{}: {text}", path.display())]
    File {
        /// Where it is.
        path: PathBuf,
        /// What was found, what was expected, what to do.
        text: String,
    },
    /// A row of the manifest that does not describe a motor.
    #[error("{}:{line}: {text}", path.display())]
    Row {
        /// The manifest.
        path: PathBuf,
        /// 1-based line.
        line: u64,
        /// What was found, what was expected.
        text: String,
    },
    /// The table of all motors cannot be assembled.
    #[error("the table of the motors could not be put together: {0}")]
    Table(#[from] polars::error::PolarsError),
    /// The worker threads cannot be started.
    #[error("the threads of the lot could not be started: {0}")]
    Threads(#[from] rayon::ThreadPoolBuildError),
    /// The template of the summary page fails.
    #[error("the summary page could not be put together: {0}")]
    Page(#[from] minijinja::Error),
    /// The summary cannot be serialised.
    #[error("the summary could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}

impl LotError {
    pub(super) fn file(path: &Path, text: impl Into<String>) -> LotError {
        LotError::File {
            path: path.to_owned(),
            text: text.into(),
        }
    }

    /// A file of the lot that cannot be written.
    pub(super) fn unwritten(path: &Path, reason: impl std::fmt::Display) -> LotError {
        LotError::file(path, format!("could not be written: {reason}"))
    }
}
