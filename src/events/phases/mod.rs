//! The phases of each kind of capture: one file an event.

pub(crate) mod brake;
mod change_point;
pub(crate) mod checks;
pub(crate) mod contact;
pub(crate) mod exclusions;
pub(crate) mod opening;
pub(crate) mod run_down;
pub(crate) mod standstill;
pub(crate) mod start;
pub(crate) mod switching;
pub(crate) mod turn_off;
