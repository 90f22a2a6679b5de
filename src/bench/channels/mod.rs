//! The channels of a capture: which column each is, through which instruments, and its values in volts or amperes.

mod codes;
mod convert;
mod plan;

pub use convert::{Converted, ScaleEstimate, convert, short};
pub use plan::{ChannelPlan, column, plan, without_unit};
