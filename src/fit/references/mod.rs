//! Scalar readings and speed references as terms of the same least squares.

mod constant_ratio;
mod converter_level;
mod driven;
mod group;
mod meters;
mod reading_term;
mod readings;
mod ripple;
mod shaft;
mod shared_meters;
mod speed_on_voltage;
mod speeds;
mod tables;
mod term;
mod voltage_balance;

pub use constant_ratio::Ratio;
pub use driven::driven_terms;
pub use group::Group;
pub use meters::ResistanceTerm;
pub use reading_term::ReadingTerm;
pub use readings::prepare_readings;
pub use ripple::{
    CurrentSpeed, RippleFinding, current_references, read_ripple, ripple_alone,
    ripple_references_beside, ripple_remarks, settled_constant, turn_volt_seconds,
};
pub use shaft::{ShaftTerm, sensors_alone, shaft_references_beside, shaft_terms, unchecked_sensor};
pub use speeds::{ConstantTerm, constant_entry};
pub use term::Term;
pub use voltage_balance::voltage_balance;
