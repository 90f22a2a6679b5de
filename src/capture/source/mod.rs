//! The bytes of a file to lines of text: hash, unpacking, encoding, line ends, bounds.

mod encoding;
mod fault;
mod file_kind;
mod hashing;
mod labelled;
mod legacy;
mod line_ends;
mod lines;
mod unpacking;

pub use encoding::{TextEncoding, Transcoding, find_encoding, text};
pub use fault::StreamFault;
pub use file_kind::{binary_kind, peek};
pub use hashing::Hashing;
pub use labelled::{RowLabels, Unlabelling};
pub use legacy::guess_legacy;
pub use lines::Lines;
pub use unpacking::Unpacking;
