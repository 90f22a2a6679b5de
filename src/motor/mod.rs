//! The motor model: terminal and mechanical parameters, temperature, simulation, sensitivities.
//!
//! Knows nothing of files, captures or terminals. See `docs/theory.md` for the equations with their sources.

mod apart;
mod bent_slopes;
mod differentiated;
pub mod dual;
pub mod operating_point;
pub mod parameters;
pub mod propagator;
pub mod state;
pub mod step;
mod step_partials;
pub mod temperature;

pub use dual::{Dual, Real};
pub use operating_point::OperatingPoint;
pub use parameters::{MechanicalParameters, TerminalParameters};
pub use state::{Constants, State};
pub use step::{Advance, Condition, advance};
