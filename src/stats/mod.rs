//! stats
pub mod quantiles;
pub mod truncated;
