//! Evidence held against evidence: speed references, instruments, captures, time axes, and the terms of the model.

mod before_fit;
mod conflict;
mod decade_error;
pub mod instrument_check;
mod leave_one_out;
pub mod model_terms;
pub mod time_base;
mod unfollowed;
mod warming;

pub use before_fit::warnings_before_the_fit;
pub use conflict::conflicts;
pub use leave_one_out::leave_one_out;
pub use unfollowed::{FOLLOWED, causes, shares_left};
pub use warming::warmed_captures;
