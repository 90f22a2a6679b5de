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
    /// A folder or file that cannot be written, or is somebody else's.
    #[error("{}: {text}", path.display())]
    File {
        /// Where it is.
        path: PathBuf,
        /// Why not, and what to do.
        text: String,
    },
}
