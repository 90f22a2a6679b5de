//! The motors that a file allows: its estimate, a corner, and draws from its covariance, for tolerance studies and for propagation by
//! Monte Carlo. Each is a [`ParameterSet`], from which everything else follows.

mod corner;
mod finer_terms;
mod parameter_set;
mod population;
mod stated;
mod steady_states;

pub use corner::{CornerError, End, MODEL, corner};
pub use finer_terms::finer_terms;
pub use parameter_set::{Known, ParameterSet};
pub use population::Population;
pub use steady_states::{SEED, TRIALS, operating_points, plan};

use super::{MotorFile, ParameterName};
use crate::stats::StatsError;

/// Why nothing can be drawn.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[non_exhaustive]
pub enum DrawError {
    /// A parameter that is needed has no value.
    #[error("{} is not determined by this motor file{}", name.label(), settle(suggestion.as_deref()))]
    Undetermined {
        /// Which.
        name: ParameterName,
        /// What would determine it.
        suggestion: Option<String>,
    },
    /// Matrix that is none of a distribution.
    #[error("the covariance of this motor file is none: {0}")]
    NotCovariance(StatsError),
    /// Nearly no draw is a motor.
    #[error(
        "the distribution of this motor file lies outside the range that a motor can have, so no motor can be drawn from it"
    )]
    OutOfReach,
}

impl DrawError {
    /// That a parameter is not determined, with what the file suggests.
    pub fn undetermined(file: &MotorFile, name: ParameterName) -> DrawError {
        DrawError::Undetermined {
            name,
            suggestion: file
                .parameters
                .get(&name)
                .and_then(|parameter| parameter.suggestion.clone()),
        }
    }
}

fn settle(suggestion: Option<&str>) -> String {
    suggestion.map_or(String::new(), |text| {
        format!("; it would be determined by: {text}")
    })
}
