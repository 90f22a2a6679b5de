//! Which further measurement would narrow which bound.

mod addition;
mod expected_uncertainty;
mod experiment_design;
mod noise_model;
mod outline;

pub use addition::{Addition, PlannedCapture};
pub use expected_uncertainty::ExpectedUncertainty;
pub use experiment_design::{Expected, ExperimentDesign};
