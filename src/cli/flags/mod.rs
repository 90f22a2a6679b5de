//! Flags that several commands share.

mod import;
mod level;

pub use import::ImportFlags;
pub use level::check_level;
