//! Captures with every name looked up, read and checked against the sheet.

mod bridge;
mod checks;
mod kept;
mod load;
mod plan;

pub use checks::{Expectations, upper_level};
pub use kept::Kept;
pub use load::load_all;
pub use plan::{CapturePlan, Common, Files, read_captures, stem, temperature_missing};
