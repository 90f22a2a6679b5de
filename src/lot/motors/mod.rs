//! The table of the motors, and the numbers of it that the statistics need.

mod gather;
mod row;
mod table;
mod values;

#[cfg(test)]
pub(crate) use gather::tests::{lot, motor};
pub use gather::{Gathered, gather};
pub use values::Instruments;
