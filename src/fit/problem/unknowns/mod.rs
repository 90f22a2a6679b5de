//! The vector of unknowns: what each entry is, its prior, its bounds, and the part of the budget to which it belongs.

mod capture_entries;
mod channel_entries;
mod direction;
mod entry;
mod heat_capacity;
mod layout;
mod shared_entries;
mod state_entries;
mod steady_entries;

pub use capture_entries::{
    add_attached, add_inductance_position, add_loop, add_position, add_waves,
};
pub use channel_entries::{add_channels, add_lag};
pub use direction::{Direction, Links, UNEVENNESS};
pub use entry::Entry;
pub use heat_capacity::{add_heat_capacity, resistance_per_kelvin};
pub use layout::{
    Layout, MeterQuantity, Parameter, ParameterKind, ShaftUnknown, Source, TableUnknown,
};
pub use shared_entries::SharedEntries;
pub use state_entries::{add_unknown_states, stands_still};
pub use steady_entries::{STEADY_KINDS, motor};
