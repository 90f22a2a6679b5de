//! The channels of a capture: which column each is, through which instruments, and its values in volts, amperes, rad/s or rad.

mod codes;
mod column;
mod convert;
mod gains;
mod plan;
mod speed;

pub use codes::converter_bits;
pub use column::{by_name, column, find, list, without_unit};
pub use convert::{Converted, ScaleEstimate, Seen, convert};
pub use gains::{GainCheck, distribute};
pub use plan::{ChannelPlan, plan};
pub use speed::{SpeedPlan, rollover_of, speed_channel, speed_plans};
