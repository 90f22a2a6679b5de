//! A sizing as text: [`summary()`] on one screen, [`table`] in full.

mod summary;
pub mod table;

pub use summary::summary;
