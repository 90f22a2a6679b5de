//! Pure statistics: arrays in, numbers out; no files, no terminal, no clock, no motor.
//!
//! * [`adaptive`]: how many Monte Carlo trials (JCGM 101:2008, 7.9).
//! * [`arrow`]: matrices of many small blocks and a few shared rows, solved and inverted block by block.
//! * [`quantiles`]: normal, Student and chi-squared quantiles and tails.
//! * [`robust`]: median and a scale that outliers do not move.
//! * [`autocovariance`]: correlation along a record.
//! * [`simd`]: extremes and counts over long arrays, in vectors of eight.
//! * [`order_statistic`]: a number of known rank among many, without a copy of them.
//! * [`whiteness`]: are residuals independent? A runs test.
//! * [`covariance`]: correlation, normal vectors of a given covariance.
//! * [`chi_squared`]: a chi-squared in standard uncertainties.
//! * [`cut_normal`]: a normal distribution cut at lower bounds of some of its coordinates.
//! * [`monte_carlo`]: propagation of distributions and its coverage intervals.
//! * [`truncated`]: a normal that cannot be negative.
//! * [`affine_view`]: a column counted from another zero and perhaps turned over, without a copy.

pub mod adaptive;
pub mod arrow;
pub mod autocovariance;
mod columns;
pub mod covariance;
mod distributions;
pub mod monte_carlo;
pub mod robust;
pub mod whiteness;

pub use columns::{affine_view, order_statistic, simd};
pub use distributions::{chi_squared, cut_normal, quantiles, truncated};

/// What a statistic cannot be computed from.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum StatsError {
    /// Too few values.
    #[error("{what}: {found} values where at least {needed} are needed")]
    TooFew {
        /// The statistic.
        what: &'static str,
        /// Values given.
        found: usize,
        /// Values needed.
        needed: usize,
    },
    /// A value that is infinite or not a number.
    #[error("{what}: value {index} is {value}, not a finite number")]
    NotFinite {
        /// The statistic.
        what: &'static str,
        /// Index of the value.
        index: usize,
        /// The value.
        value: f64,
    },
    /// An argument outside its range.
    #[error("{what} is {value}; it must lie {range}")]
    OutOfRange {
        /// The argument.
        what: &'static str,
        /// The value given.
        value: f64,
        /// The allowed range, worded to follow "it must lie".
        range: &'static str,
    },
    /// Arrays whose sizes do not match.
    #[error("{what} has {found} entries where {expected} are expected")]
    Dimension {
        /// The array.
        what: &'static str,
        /// Its entries.
        found: usize,
        /// Entries expected.
        expected: usize,
    },
    /// A covariance matrix with a negative eigenvalue.
    #[error(
        "the covariance matrix is not positive semidefinite: an eigenvalue of its correlation matrix is {eigenvalue:.3e}"
    )]
    NotPositiveSemidefinite {
        /// Most negative eigenvalue of the correlation matrix.
        eigenvalue: f64,
    },
    /// Values that are all equal.
    #[error("{what}: all values are equal, so there is no variation to judge")]
    NoVariation {
        /// The statistic.
        what: &'static str,
    },
}

fn all_finite(what: &'static str, values: &[f64]) -> Result<(), StatsError> {
    match values.iter().position(|value| !value.is_finite()) {
        Some(index) => Err(StatsError::NotFinite {
            what,
            index,
            value: values[index],
        }),
        None => Ok(()),
    }
}

/// A probability strictly between 0 and 1.
fn open_probability(what: &'static str, value: f64) -> Result<(), StatsError> {
    if value > 0.0 && value < 1.0 {
        Ok(())
    } else {
        Err(StatsError::OutOfRange {
            what,
            value,
            range: "between 0 and 1",
        })
    }
}
