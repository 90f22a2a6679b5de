//! What a motor file means for the drive: supply, switches, PWM, flyback path, soft start, brake.
//!
//! Formulas with symbols, units and sources stand in `docs/drive.md`.
//!
//! * [`order`]: the user's conditions, checked; `setting`: the same with what is fixed from the estimate.
//! * `sample`: one motor as the drive sees it, the estimate or a draw from the covariance.
//! * `circuit`: currents and speeds, chopper period and clamp in closed form, starts and stops by simulation.
//! * `profile`: a move or a duty over time, from a table. `topics`: one file a topic; `section`: what a topic hands over, and what each number is; `remarks`: what is said beside them.
//! * `sizing`: all topics, for the estimate and for drawn motors, with bounds and what lies beyond the captures.
//! * [`result`]: the answer. `text`: the same as text. [`cautions`]: dangers.

mod circuit;
pub mod order;
mod profile;
mod remarks;
pub mod result;
mod sample;
mod section;
mod setting;
mod sizing;
mod text;
mod topics;

pub use order::{Load, Order, OrderError};
pub use profile::{Profile, ProfileError};
pub use remarks::cautions;
pub use remarks::notes::Note;
pub use result::Sizing;
pub use section::{Table, Unit};
pub use sizing::size;
pub use text::{summary, table};
