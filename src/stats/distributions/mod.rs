//! Distributions: their quantiles and tails, their moments, draws from those that are cut.

pub mod chi_squared;
pub mod cut_normal;
pub mod quantiles;
pub mod truncated;
