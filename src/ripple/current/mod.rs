//! Ripple of the current in starts, steady running and brakes.

pub(crate) mod analyse;
pub(crate) mod current_ripple;
mod normal_pass;
mod record;
pub(crate) mod remarks;
pub(crate) mod speed_reference;
pub(crate) mod speed_shape;
mod steady_end;
mod trajectory;
mod trajectory_fit;
