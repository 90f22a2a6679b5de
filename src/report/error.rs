//! Why a report could not be made or written.

use std::path::PathBuf;

/// A report that could not be made or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum ReportError {
    /// The page could not be put together.
    #[error("the report page could not be put together: {0}")]
    Template(#[from] minijinja::Error),
    /// The data could not be written as JSON.
    #[error("the report's data could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    /// A file of somebody else's is there.
    #[error("{}: {reason}, so it was left as it is; choose another name, or pass --force to overwrite it", path.display())]
    WouldOverwrite {
        /// The file that is there.
        path: PathBuf,
        /// Why it must not be replaced.
        reason: String,
    },
    /// The file cannot be written.
    #[error("{}: could not be written: {source}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
}
