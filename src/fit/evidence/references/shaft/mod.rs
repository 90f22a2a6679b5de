//! Speed, position and pulses of the shaft, recorded beside voltage and current, as terms of the least squares.
//!
//! Whatever the sensor, between two instants it shows an angle by which the shaft has turned, and the model has the back-EMF's volt-seconds
//! between them:
//!
//! ```text
//! Δθ = (1 + g) ∫ e dt / K + z Δt          over [t₁ − τ, t₂ − τ]
//! ```
//! with the gain error g of a tachogenerator, gear and oscilloscope, its zero z (rad/s) and its delay τ. Mean over a stretch, difference of two
//! counts and a number of pulses are all of this kind, so that one residual serves them all.

mod alone;
mod beside;
mod prepare;
mod pulses;
mod stretches;
mod term;

pub use alone::{sensors_alone, unchecked_sensor};
pub use beside::shaft_references_beside;
pub use prepare::shaft_terms;
pub use term::ShaftTerm;
