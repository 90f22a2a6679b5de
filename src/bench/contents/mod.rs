//! What a [`Bench`](super::Bench) holds: motor, hardware, captures, readings, and numbers with their accuracy.

pub mod accuracy;
pub mod capture;
pub mod setup;
