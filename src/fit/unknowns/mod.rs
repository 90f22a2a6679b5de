//! The vector of unknowns: what each entry is, its prior, its bounds, and the part of the budget to which it belongs.

mod capture_entries;
mod layout;
mod shared_entries;
mod steady_entries;

pub use capture_entries::{add_attached, add_channels, add_lag, add_unknown_states, stands_still};
pub use layout::{Layout, Parameter, Slot, Source};
pub use shared_entries::{
    clock, inductance_seen, largest_voltage, peak_current, position_sd, reference_temperature,
    shared_parameters,
};
pub use steady_entries::{SLOTS, motor};
