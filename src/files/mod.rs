//! Files on disk, for every stage that reads or writes one: written atomically, read within a bound.
//!
//! What the files hold is not known here.

mod atomic;
mod bounded;
mod lock;
mod place;
mod temporary;

pub use atomic::{put, write_atomically, write_new};
pub use bounded::{
    LARGEST_JSON, LARGEST_SHEET, LONGEST_LINE, LinesAtMost, hex, open_regular, read_at_most, sha256,
};
pub use lock::{WriteLock, lock_folders};
pub use place::{check_place, folder_of, is_inside, same_file};
pub(crate) use temporary::{is_temporary, temporary};
