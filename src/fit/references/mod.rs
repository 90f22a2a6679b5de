//! Scalar readings and speed references as terms of the same least squares.

mod constant_ratio;
mod current_ripple;
pub mod driven;
mod preliminary_fit;
pub mod readings;
mod run_down_ripple;
mod speed_on_voltage;
mod voltage_balance;

pub use constant_ratio::Ratio;
pub use current_ripple::{CurrentSpeed, current_anchors};
pub use preliminary_fit::SoFar;
pub use readings::ReadingTerm;
pub use run_down_ripple::{
    RippleFinding, read_ripple, ripple_anchors, ripple_anchors_beside, ripple_words,
    turn_volt_seconds,
};
pub use voltage_balance::voltage_balance;
