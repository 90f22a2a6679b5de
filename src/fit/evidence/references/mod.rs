//! Scalar readings and speed references as terms of the same least squares.

mod driven;
mod group;
mod meters;
mod reading_term;
mod readings;
mod ripple;
mod shaft;
mod speeds;
mod tables;
mod term;
mod voltage;

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
pub use speeds::{ConstantTerm, Ratio, constant_entry};
pub use term::Term;
pub use voltage::voltage_balance;
