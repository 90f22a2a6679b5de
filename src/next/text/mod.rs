//! The answers as text.

pub mod first_table;
pub mod heat;
pub mod numbers;
pub mod screen;
pub mod table;
