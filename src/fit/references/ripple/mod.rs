//! Speeds and constants that commutation ripple gives.

mod beside;
mod current;
mod run_down;

pub use beside::ripple_anchors_beside;
pub use current::{CurrentSpeed, current_anchors, level_uncertainty};
pub use run_down::{
    RippleFinding, read_ripple, ripple_anchors, ripple_words, settled_constant, turn_volt_seconds,
};
