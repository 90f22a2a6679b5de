//! Units, and numbers as people write and read them: once for all commands.
//!
//! * [`units`]: common units of motor data and their SI values.
//! * [`rounding`]: the one rule by which a value and its uncertainty are written.

pub mod rounding;
pub mod units;
