//! One step of the motor under one terminal condition.
//!
//! Each step is an exponential Rosenbrock step ([`super::propagator`]): exact while the system is linear and the
//! voltage constant over the step, third order in what is not (brush drop near zero current, saturation,
//! windage, armature reaction), halved until what its last correction leaves is below a tolerance. Coulomb friction changes sign, the rotor stops
//! and breaks away at instants found inside the step, never smoothed.

mod advance;
mod connected;
mod imposed;
mod matrix_polynomial;
mod simulated;
mod smooth;

pub use advance::{Advance, Condition};
pub use simulated::Simulated;

use super::{Constants, State};

/// Advances the motor by `step_s` seconds; `held` clamps the rotor.
pub fn advance<S: Simulated>(
    constants: &Constants<S>,
    from: State<S>,
    condition: Condition<S>,
    step_s: f64,
    held: bool,
) -> Advance<S> {
    match condition {
        Condition::Voltage(voltage) => connected::step(constants, from, voltage, step_s, held),
        Condition::Current(current) => imposed::advance(constants, from, current, step_s, held),
        Condition::Open => imposed::advance(constants, from, 0.0.into(), step_s, held),
    }
}
