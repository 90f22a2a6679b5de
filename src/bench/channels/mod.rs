//! The channels of a capture: which column each is, through which instruments, and its values in volts, amperes, rad/s or rad.

mod codes;
mod column;
mod convert;
mod gains;
mod plan;
mod seen;
mod speed;

pub use column::{column, without_unit};
pub use convert::{Converted, ScaleEstimate, convert, short};
pub use gains::{GainCheck, distribute};
pub use plan::{ChannelPlan, plan};
pub use seen::Seen;
pub use speed::{SpeedPlan, speed_channel, speed_plans};
