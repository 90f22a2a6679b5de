//! One record simulated at a vector of unknowns, with its derivatives or without.

mod capture_model;
mod channels;
mod coasting;
#[cfg(test)]
mod derivative_check;
mod gradient;
mod prediction;
mod simulate;
mod turned;
mod unevenness;
mod warming;

pub use capture_model::{CaptureModel, Waves};
pub use gradient::{Component, Number};
pub use prediction::{Prediction, Row};
