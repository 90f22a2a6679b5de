//! Files on disk, for every stage that reads or writes one: written whole or not at all, read within a bound.
//!
//! Knows nothing of what the files hold.

mod bounded;
mod hash;
mod place;
mod whole;

pub use bounded::{LARGEST_JSON, LARGEST_SHEET, LONGEST_LINE, LinesAtMost, read_at_most};
pub use hash::{hex, open_regular, sha256};
pub use place::{check_place, folder_of, is_inside, same_file};
pub(crate) use whole::{is_temporary, temporary};
pub use whole::{put, write_new, write_whole};
