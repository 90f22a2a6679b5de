//! fit

pub mod solver;
