//! Ripple of the open-terminal voltage in a run-down.

pub(crate) mod analyse;
mod blocks;
mod findings;
mod fitting;
mod prepare;
pub(crate) mod remarks;
