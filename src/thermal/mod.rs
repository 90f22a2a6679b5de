//! Heat runs and cooling curves to the thermal network of a motor.
//!
//! The electrical parameters enter from the fit, with their uncertainties; the resistance of the winding at the position in which the
//! rotor was held is an unknown of its own, since it varies by some per cent with the position. The winding's temperature follows from its
//! resistance (IEC 60034-1, 8.6.2: method of resistance), after the brushes' contact drop and the leads are taken off.
//!
//! * `observed`: records as bins with their noise.
//! * `problem`: unknowns, simulation, residuals.
//! * `courses`: the temperatures over each record, with their band.
//! * `remarks`: what is remarked on, in words.
//! * `identify`: estimate, bounds, what is undetermined, what contradicts.

mod courses;
mod identify;
mod observed;
mod problem;
mod remarks;

pub use courses::{Course, Temperatures, courses};
pub use identify::identify;
pub use remarks::HeatRemark;
