//! How well the unknowns are known: covariance, profile intervals, and the parameters a person asks for with their bounds.

mod covariance;
mod inductance_at;
pub mod linearised;
mod monomial;
mod motor_distribution;
pub mod profile;
mod profile_interval;
mod reported;
mod settled_by;

pub use covariance::{Covariance, covariance, possible};
pub use inductance_at::InductanceAt;
pub use monomial::{Monomial, monomials};
pub use motor_distribution::MotorDistribution;
pub use profile_interval::profile_to_wald_ratios;
pub use reported::{Interval, LARGEST_RELATIVE, Reported, Status};
