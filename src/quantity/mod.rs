//! Units, and numbers as people write and read them: once for all commands.
//!
//! * [`units`]: common units of motor data and their SI values.
//! * `exported`: units as exported files write them.
//! * [`FlagUnits`]: a value with its unit as a flag takes it.
//! * [`prefix`]: engineering prefixes.
//! * [`rounding`]: the one rule by which a value and its uncertainty are written.
//! * [`nearest()`]: the known word nearest to a misspelt one.
//! * [`one_line`]: names as one line of visible characters.
//! * [`wrapped()`]: text set into lines of at most a width.

mod decimal;
pub(crate) mod exported;
mod flag;
mod nearest;
mod one_line;
pub mod prefix;
pub mod rounding;
pub mod units;
mod wrap;

pub use flag::FlagUnits;
pub use nearest::{is_listed, nearest};
pub use one_line::{escape, is_invisible, one_line};
pub use prefix::engineering;
pub use wrap::wrapped;
pub(crate) use wrap::{align, in_columns};
