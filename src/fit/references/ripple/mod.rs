//! Speeds and constants that commutation ripple gives.

mod beside;
mod current;
mod run_down;

pub use beside::ripple_references_beside;
pub use current::{CurrentSpeed, current_references};
pub use run_down::{
    RippleFinding, describe_ripple, read_ripple, ripple_references, settled_constant,
    turn_volt_seconds,
};
