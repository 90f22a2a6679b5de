//! Why pictures could not be drawn or written.

use std::path::PathBuf;

/// A picture that could not be drawn or written.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum PlotError {
    /// The drawing library refused.
    #[error("a picture could not be drawn: {0}")]
    Draw(String),
    /// A PNG file could not be made.
    #[error("a picture could not be packed as PNG: {0}")]
    Png(#[from] png::EncodingError),
    /// A file of somebody else's is there.
    #[error("{}: {reason}, so nothing was written; choose another folder, or pass --force to overwrite it", path.display())]
    WouldOverwrite {
        /// The file that is there.
        path: PathBuf,
        /// Why it must not be replaced.
        reason: String,
    },
    /// The folder cannot be made.
    #[error("{}: the folder could not be made: {source}", path.display())]
    Folder {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
    },
    /// A file cannot be written.
    #[error("{}: could not be written: {source}{}", path.display(), before(*written))]
    Write {
        /// The file.
        path: PathBuf,
        /// What the system says.
        source: std::io::Error,
        /// Pictures written before this one, each whole.
        written: usize,
    },
}

fn before(written: usize) -> String {
    match written {
        0 => String::new(),
        1 => "; one picture was written before it".to_owned(),
        n => format!("; {n} pictures were written before it"),
    }
}
