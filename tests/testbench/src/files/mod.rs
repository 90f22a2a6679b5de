//! A drawn bench as files, as an oscilloscope and a person bring it.

mod folder;
mod layout;
mod sheet;

pub use folder::{FolderError, temporary_folder, write_folder};
pub use layout::Layout;
