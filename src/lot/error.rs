//! Why a lot could not be run or written. What goes wrong with one motor is no error here but that motor's record.

use std::path::PathBuf;

/// A lot that could not be run, gathered or written.
#[derive(Debug, thiserror::Error)]
pub enum LotError {
    #[error("{}: the manifest cannot be read: {reason}", path.display())]
    Manifest { path: PathBuf, reason: String },
    #[error("{}:{line}: {text}", path.display())]
    Row {
        path: PathBuf,
        line: u64,
        text: String,
    },
    #[error(
        "{}: no bench sheet in it. Expected a folder tree with a `bench.toml` for each motor, or a table with a column `sheet`",
        path.display()
    )]
    NoMotors { path: PathBuf },
    #[error("{}: is no folder of a lot ({reason}); choose another folder, or pass --force to write into it", path.display())]
    NotALot { path: PathBuf, reason: String },
    #[error("{}: could not be written: {reason}", path.display())]
    Write { path: PathBuf, reason: String },
    #[error("{}: could not be read: {reason}. Delete it and run the lot again", path.display())]
    Read { path: PathBuf, reason: String },
    #[error("the table of the motors could not be put together: {0}")]
    Table(#[from] polars::error::PolarsError),
    #[error("the threads of the lot could not be started: {0}")]
    Threads(String),
    #[error("the summary page could not be put together: {0}")]
    Page(#[from] minijinja::Error),
    #[error("the summary could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}
