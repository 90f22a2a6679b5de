//! The simulated motor.

mod commutation;
mod machine;
mod plant;
mod state;

pub(crate) use commutation::Commutation;
pub use machine::{COPPER_PER_K_AT_25_C, Commutator, ContactLaw, EddyBranch, Machine};
pub(crate) use plant::Plant;
pub(crate) use state::{Circuit, Loop, Shaft, State};
