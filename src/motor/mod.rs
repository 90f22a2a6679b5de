//! The motor model: terminal and mechanical parameters, temperature, simulation, sensitivities.
//!
//! Knows nothing of files, captures or terminals. See `docs/theory.md` for the equations with their sources.

mod constants;
mod dual;
mod operating_point;
mod parameters;
mod propagator;
mod state;
mod state_equation;
mod step;
pub mod temperature;
pub mod thermal;

pub use constants::{Constants, TOLERANCE};
pub use dual::{Dual, Real};
pub use operating_point::OperatingPoint;
pub use parameters::{MechanicalParameters, TerminalParameters, screened_share_left};
pub use state::State;
pub use step::{Advance, Condition, Simulated, advance};
