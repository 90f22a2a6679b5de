//! Ripple of the current in starts, steady running and brakes.

pub(crate) mod analyse;
mod normal_pass;
pub(crate) mod speed_reference;
pub(crate) mod trajectory;
