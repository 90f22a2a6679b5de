//! What is known, given or guessed of a motor and its size.

pub mod guess;
pub mod machine;
pub mod size;
