//! What a motor file means for the drive: supply, switches, PWM, flyback path, soft start, brake.
//!
//! Formulas with symbols, units and sources stand in `docs/drive.md`.
//!
//! * [`order`]: the user's conditions, checked; `setting`: the same with what is fixed from the estimate.
//! * `sample`: one motor as the drive sees it, the estimate or a draw from the covariance.
//! * `trajectory`: currents and speeds in time by simulation. `circuit`: chopper period and clamp in closed form.
//! * `profile`: a move or a duty over time, from a table. `topics`: one file a topic; `section`: what a topic hands over.
//! * `sizing`: all topics, for the estimate and for drawn motors; `bounds`: intervals of what they give; `reach`: what the captures do not reach.
//! * [`result`]: the answer. [`summary()`]: on one screen. [`table`]: in full. [`cautions`]: dangers.

mod bounds;
pub mod cautions;
mod circuit;
pub mod order;
mod profile;
mod reach;
pub mod result;
mod sample;
mod section;
mod setting;
mod sizing;
mod summary;
pub mod table;
mod topics;
mod trajectory;
mod verdict;

pub use order::{Load, Order, OrderError};
pub use profile::{Profile, ProfileError};
pub use result::Sizing;
pub use section::Unit;
pub use sizing::size;
pub use summary::summary;
