//! The channels of a capture: which column each is, through which instruments, and its values in volts or amperes.

mod codes;
mod column;
mod convert;
mod gains;
mod plan;
mod seen;

pub use column::{column, without_unit};
pub use convert::{Converted, ScaleEstimate, convert, short};
pub use gains::{GainCheck, distribute};
pub use plan::{ChannelPlan, plan};
pub use seen::Seen;
