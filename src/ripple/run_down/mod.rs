//! Ripple of the open-terminal voltage in a run-down.

pub(crate) mod analyse;
pub(crate) mod prepare;
