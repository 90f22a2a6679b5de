//! Why no estimate could be made.

use super::solve::SolverError;
use super::wording::Remark;

/// Why no estimate could be made.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum FitError {
    /// No capture shows a current that the model can follow.
    #[error(
        "no capture holds a stretch in which current flows and the model can follow it; a start, a run-down and a brake are the usual three"
    )]
    NothingToFit,
    /// The model has no value at the first guess, which is given in words.
    #[error("the model could not be evaluated at the first guess ({0})")]
    Start(String),
    /// The model took too many steps.
    #[error("the fit was given up after {steps_per_bin:.0} model steps a point")]
    GivenUp {
        /// Model steps a bin of the captures.
        steps_per_bin: f64,
    },
    /// No motor of the model follows the records, from any first guess.
    #[error(
        "no brushed permanent-magnet motor follows these records from any first guess ({why}). {}",
        listed(causes)
    )]
    NotFollowed {
        /// How the fit ended, in words.
        why: String,
        /// What the records show of the cause, one a capture.
        causes: Vec<Remark>,
    },
    /// Two time axes contradict each other.
    #[error("{0}")]
    TimeBase(Box<Remark>),
    /// The solver could not begin.
    #[error(transparent)]
    Solver(#[from] SolverError),
}

impl FitError {
    /// Whether another first guess cannot help.
    pub(super) fn is_final(&self) -> bool {
        matches!(
            self,
            FitError::NothingToFit | FitError::Solver(SolverError::Interrupted)
        )
    }
}

/// The causes, or where none is seen what to look at.
fn listed(causes: &[Remark]) -> String {
    if causes.is_empty() {
        return "Look at role, polarity, scale and time of every capture with `rundown look`"
            .into();
    }
    let causes: Vec<String> = causes.iter().map(Remark::to_string).collect();
    causes.join("; ")
}
