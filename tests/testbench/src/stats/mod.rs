//! Statistics that only studies need: arrays in, numbers out.
//!
//! * [`binomial`]: interval for a proportion, such as a measured coverage.
//! * [`hac`]: covariance of sums of correlated scores (the meat of a sandwich).
//! * [`bootstrap`]: resampling in blocks that keep the correlation.
//! * [`sandwich`]: other covariances of one estimate, from the scores of its rows.

pub mod binomial;
pub mod bootstrap;
pub mod hac;
pub mod sandwich;

/// What a statistic cannot be computed from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Invalid(pub &'static str);
