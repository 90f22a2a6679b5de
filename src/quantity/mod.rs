//! Units, and numbers as people write and read them: once for all commands.
//!
//! * [`nearest`]: the known word nearest to a misspelt one.
//! * [`units`]: common units of motor data and their SI values.
//! * [`rounding`]: the one rule by which a value and its uncertainty are written.

mod nearest;
pub mod rounding;
pub mod units;

pub use nearest::nearest;
