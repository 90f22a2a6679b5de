//! Which further measurement would narrow which bound.

mod expected_uncertainty;
mod experiment_design;
mod noise_model;

pub use expected_uncertainty::Outlook;
pub use experiment_design::{Addition, Expected, Forecaster, PlannedCapture};
