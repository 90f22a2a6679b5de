//! The bytes of a file to lines of text: hash, unpacking, encoding, line ends, bounds.

mod line_ends;
mod lines;

pub use lines::{
    Hashing, Lines, TextEncoding, Transcoding, Unpacking, binary_kind, find_encoding, peek, text,
};
