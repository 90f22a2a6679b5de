//! Flags that several commands share.

mod import;
mod level;
mod quantity;

pub use import::ImportFlags;
pub use level::check_level;
pub use quantity::{positive_si, short, si, signed};
