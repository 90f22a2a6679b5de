//! What the fit compares: records cut into segments of bins, the noise of their rows, and what they suggest in closed form.

mod driving_voltage;
mod first_guess;
mod rows;
mod segments;

pub use first_guess::{Hints, first_guess, least, middle, read_hints};
pub use rows::{
    Departures, MODEL_SHARE, Scatter, deviations, first_deviations, groups, scatter_of_residuals,
};
pub use segments::{Bin, Leg, LegKind, legs};
