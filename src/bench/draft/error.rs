//! Why no bench sheet could be drafted.

use super::endings::ENDINGS;
use std::io;
use std::path::PathBuf;

/// Why no bench sheet could be drafted from a folder.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum DraftError {
    /// The folder cannot be opened.
    #[error("{}: the folder cannot be listed: {source}. Name a folder that holds the exported captures", folder.display())]
    List {
        /// The folder as it was named.
        folder: PathBuf,
        /// What the system reports.
        source: io::Error,
    },
    /// The list of files breaks off.
    #[error("{}: {source}", folder.display())]
    Entry {
        /// The folder as it was named.
        folder: PathBuf,
        /// What the system reports.
        source: io::Error,
    },
    /// No file of the folder is a capture.
    #[error("{}: no capture could be read. {}", folder.display(), reasons(left_out))]
    NoCapture {
        /// The folder as it was named.
        folder: PathBuf,
        /// Files that were tried, and why each was left out.
        left_out: Vec<(String, String)>,
    },
}

fn reasons(left_out: &[(String, String)]) -> String {
    if left_out.is_empty() {
        return format!("No file ends in {} (or these with .gz)", ENDINGS.join(", "));
    }
    let each = left_out.iter().map(|(file, why)| format!("{file}: {why}"));
    each.collect::<Vec<_>>().join("; ")
}
