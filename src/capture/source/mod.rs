//! The bytes of a file to lines of text: hash, unpacking, encoding, line ends, bounds.

mod bytes;
mod encoding;
mod labelled;
mod line_ends;
mod lines;

pub use bytes::{Hashing, Unpacking, binary_kind, peek};
pub use encoding::{TextEncoding, Transcoding, find_encoding, guess_legacy, text};
pub use labelled::{RowLabels, Unlabelling};
pub use lines::Lines;
