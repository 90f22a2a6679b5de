//! One record simulated at a vector of unknowns, with its derivatives or without.

mod capture_model;
#[cfg(test)]
mod derivative_check;
mod gradient;
mod prediction;
mod simulate;
mod unevenness;
pub mod warming;

pub use capture_model::{CaptureModel, Shared};
pub use gradient::{LANES, Number, direction};
pub use prediction::{Prediction, Quantity, Row};
