//! Faults inside the chain of readers.

use thiserror::Error;

/// A fault found inside the chain of readers, carried through `std::io::Error` and taken out again at its end.
#[derive(Debug, Error)]
pub enum StreamFault {
    #[error("line {line} too long")]
    LineTooLong { line: usize, limit: usize },
    #[error("zero byte in line {line}")]
    ZeroByte { line: usize },
    #[error("open quote in line {line}")]
    OpenQuote { line: usize },
    #[error("too much text in line {line}")]
    TooMuchText { line: usize, limit: u64 },
    #[error("{packed} packed bytes give {text} bytes of text")]
    UnpacksTooFar { packed: u64, text: u64, limit: u64 },
    #[error("damaged compressed stream: {0}")]
    Compressed(std::io::Error),
}
