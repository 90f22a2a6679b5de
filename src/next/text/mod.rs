//! The answers as text.

pub mod first;
pub mod heat;
pub mod numbers;
pub mod ranking;
pub mod shot;
