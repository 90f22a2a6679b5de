//! The joint estimate of all captures and readings of one motor: first guess, problem, solver, covariance, health.

mod checks;
mod data;
mod descent;
mod design;
mod estimate;
mod model;
mod operating;
mod problem;
mod references;
pub mod solve;
mod uncertainty;
mod unknowns;
mod weights;

pub use checks::{LeftOut, TermDecision};
pub use data::{Bin, Leg, LegKind};
pub use design::{Addition, Expected, Forecaster, Outlook, PlannedCapture};
pub use estimate::{Estimate, FitError, FitOptions, estimate, estimate_in_stages};
pub use model::{Prediction, Quantity, Row};
pub use operating::{OperatingValue, TRIALS};
pub use problem::Problem;
pub use references::{CurrentSpeed, RippleFinding, voltage_balance};
pub use uncertainty::{Covariance, Interval, Reach, Reported, Status, profile};
pub use unknowns::{Layout, Slot, Source};
