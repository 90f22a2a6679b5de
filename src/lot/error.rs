//! Why a lot could not be run or written. What goes wrong with one motor is no error here but that motor's record.

use std::path::PathBuf;

/// A lot that could not be run, gathered or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LotError {
    /// The manifest cannot be read as a table.
    #[error("{}: the manifest cannot be read: {reason}", path.display())]
    Manifest {
        /// The manifest.
        path: PathBuf,
        /// Why not.
        reason: String,
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
    /// A folder tree without a bench sheet.
    #[error(
        "{}: no bench sheet in it. Expected a folder tree with a `bench.toml` for each motor, or a table with a column `sheet`",
        path.display()
    )]
    NoMotors {
        /// The folder searched.
        path: PathBuf,
    },
    /// The output folder cannot be listed, or holds files of another origin.
    #[error("{}: is no folder of a lot ({reason}); choose another folder, or pass --force to write into it", path.display())]
    NotALot {
        /// The output folder.
        path: PathBuf,
        /// What makes it unfit.
        reason: String,
    },
    /// A file of the lot cannot be written.
    #[error("{}: could not be written: {reason}", path.display())]
    Write {
        /// The file.
        path: PathBuf,
        /// Error of the operating system or the encoder.
        reason: String,
    },
    /// A file of the lot cannot be read back.
    #[error("{}: could not be read: {reason}. Delete it and run the lot again", path.display())]
    Read {
        /// The file.
        path: PathBuf,
        /// Error of the operating system or the decoder.
        reason: String,
    },
    /// The table of all motors cannot be assembled.
    #[error("the table of the motors could not be put together: {0}")]
    Table(#[from] polars::error::PolarsError),
    /// The worker threads cannot be started.
    #[error("the threads of the lot could not be started: {0}")]
    Threads(String),
    /// The template of the summary page fails.
    #[error("the summary page could not be put together: {0}")]
    Page(#[from] minijinja::Error),
    /// The summary cannot be serialised.
    #[error("the summary could not be written as JSON: {0}")]
    Json(#[from] serde_json::Error),
}
