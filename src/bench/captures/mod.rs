//! Captures with every name looked up, read and checked against the sheet.

mod doubts;
mod load;

pub use doubts::{Expectations, upper_level};
pub use load::{CapturePlan, load_all};
