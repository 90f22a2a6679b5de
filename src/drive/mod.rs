//! What a motor file means for the drive: supply, switches, PWM, flyback path, soft start, brake.
//!
//! Formulas with symbols, units and sources stand in `docs/drive.md`.
//!
//! * [`order`]: the user's conditions, checked; [`setting`]: the same with what is fixed from the estimate.
//! * [`sample`]: one motor as the drive sees it, the estimate or a draw from the covariance.
//! * [`trajectory`]: currents and speeds in time by simulation. [`circuit`]: chopper period and clamp in closed form.
//! * [`topics`]: one file a topic; [`section`]: what a topic hands over.
//! * [`sizing`]: all topics, for the estimate and for drawn motors; [`bounds`]: intervals of what they give.
//! * [`result`]: the answer. [`table`]: as text. [`cautions`]: dangers.

pub mod bounds;
pub mod cautions;
pub mod circuit;
pub mod order;
pub mod result;
pub mod sample;
pub mod section;
pub mod setting;
pub mod sizing;
pub mod table;
pub mod topics;
pub mod trajectory;

pub use order::{Load, Order, OrderError};
pub use result::Sizing;
pub use sizing::size;
