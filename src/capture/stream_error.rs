//! Faults of the chain of readers as errors of the import.

use super::error::ReadError;
use super::source::StreamFault;

impl ReadError {
    /// An input error, with a fault of the reader chain given back its type.
    pub(super) fn from_io(path: &std::path::Path, error: std::io::Error) -> ReadError {
        let path = path.to_path_buf();
        if !error
            .get_ref()
            .is_some_and(|inner| inner.is::<StreamFault>())
        {
            return ReadError::Io {
                path,
                source: error,
            };
        }
        let kind = error.kind();
        match error
            .into_inner()
            .and_then(|inner| inner.downcast::<StreamFault>().ok())
        {
            Some(fault) => match *fault {
                StreamFault::LineTooLong { line, limit } => {
                    ReadError::LineTooLong { path, line, limit }
                }
                StreamFault::ZeroByte { line } => ReadError::ZeroByte { path, line },
                StreamFault::OpenQuote { line } => ReadError::OpenQuote { path, line },
                StreamFault::TooMuchText { line, limit } => {
                    ReadError::TooMuchText { path, line, limit }
                }
                StreamFault::UnpacksTooFar {
                    packed,
                    text,
                    limit,
                } => ReadError::UnpacksTooFar {
                    path,
                    packed,
                    text,
                    limit,
                },
                StreamFault::Compressed(source) => ReadError::Compressed { path, source },
            },
            None => ReadError::Io {
                path,
                source: kind.into(),
            },
        }
    }
}
