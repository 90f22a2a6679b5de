//! The table of the motors, and the numbers of it that the statistics need.

mod gather;

#[cfg(test)]
pub(crate) use gather::tests::lot;
pub use gather::{Gathered, Series, gather};
