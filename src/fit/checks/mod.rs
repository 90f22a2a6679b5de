//! Evidence held against evidence: readings, speed references, instruments, captures, time axes, and the terms of the model.

mod before_fit;
mod confrontation;
mod decade_error;
mod leave_one_out;
mod left_out;
pub mod model_terms;
mod repeats;
mod shunt;
pub mod time_base;
mod unfollowed;
mod warming;

pub use before_fit::warnings_before_the_fit;
pub use confrontation::confront;
pub use leave_one_out::leave_one_out;
pub use repeats::repeats;
pub use shunt::large_shunts;
pub use unfollowed::{FOLLOWED, causes, shares_left};
pub use warming::warmed_captures;
