//! One capture: the circuits, the schedule of contacts, the run of the motor through it.

mod pickup;
mod run;
mod schedule;
mod shot;
mod steady;
mod take;
mod wiring;

pub use shot::{Shot, ShotKind};
#[cfg(test)]
pub(crate) use steady::{run_down_time, steady_running};
pub(crate) use take::{Recording, take};
pub(crate) use wiring::Wiring;
