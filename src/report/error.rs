//! Why a report could not be made or written.

use std::path::PathBuf;

/// A report that could not be made or written.
#[derive(Debug, thiserror::Error)]
pub enum ReportError {
    #[error("the report page could not be put together: {0}")]
    Template(#[from] minijinja::Error),
    #[error("the report's data could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
    #[error("{}: {reason}, so it was left as it is; choose another name, or pass --force to overwrite it", path.display())]
    WouldOverwrite { path: PathBuf, reason: String },
    #[error("{}: could not be written: {source}", path.display())]
    Write {
        path: PathBuf,
        source: std::io::Error,
    },
}
