//! Speeds and constants that commutation ripple gives.

mod current;
mod pattern_check;
mod run_down;
mod run_down_references;

pub use current::{CurrentSpeed, current_references};
pub use run_down::{
    RippleFinding, read_ripple, ripple_remarks, settled_constant, turn_volt_seconds,
};
pub use run_down_references::{ripple_alone, ripple_references_beside};
