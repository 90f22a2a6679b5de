//! The bench sheet of the watched folder, which stays the truth: changed key by key, with comments and order kept.

mod edit;
pub mod enter;
mod file;
mod json;

pub use edit::{Edit, EditError};
pub use file::SheetFile;
pub use json::{files_of, sheet_json};
