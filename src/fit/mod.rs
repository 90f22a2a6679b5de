//! The joint estimate of all captures and readings of one motor: first guess, problem, solver, covariance, health.

mod anchor_ratio;
mod capture_model;
mod conflict;
mod covariance;
mod current_anchor;
#[cfg(test)]
mod derivative_check;
mod driven;
mod driving_voltage;
mod estimate;
mod forecast;
mod guess;
mod layout;
mod learned;
mod left_out;
mod legs;
mod meters;
mod monomial;
mod outlook;
mod problem;
pub mod profile;
mod profiled;
mod readings;
mod reported;
mod ripple_anchor;
mod rows;
pub mod solver;
mod tenfold;
mod terms;
mod time_base;
mod voltage_balance;

pub use capture_model::{Prediction, Quantity, Row};
pub use covariance::Covariance;
pub use current_anchor::CurrentSpeed;
pub use estimate::{Estimate, FitError, FitOptions, estimate};
pub use forecast::{Addition, Expected, Forecaster, PlannedCapture};
pub use layout::{Layout, Slot, Source};
pub use left_out::LeftOut;
pub use legs::{Bin, Leg, LegKind};
pub use outlook::Outlook;
pub use problem::Problem;
pub use profiled::Reach;
pub use reported::{Interval, Reported, Status};
pub use ripple_anchor::RippleFinding;
pub use terms::TermDecision;
pub use voltage_balance::voltage_balance;
