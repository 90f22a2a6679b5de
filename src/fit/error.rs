//! Why no estimate could be made.

use super::solve::SolverError;

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
    #[error(
        "the model could not be evaluated at the first guess ({0}); check scales, polarity and roles with `rundown look`"
    )]
    Start(String),
    /// The model took too many steps.
    #[error(
        "the fit was given up after {steps_per_bin:.0} model steps a point, where sound captures take up to some 300: the model follows a voltage that \
         belongs to another state of the motor, or a time axis is off. Look at role, polarity and time of every capture with `rundown look`"
    )]
    GivenUp {
        /// Model steps a bin of the captures.
        steps_per_bin: f64,
    },
    /// Two time axes contradict each other, in words.
    #[error("{0}")]
    TimeBase(String),
    /// The solver could not begin.
    #[error(transparent)]
    Solver(#[from] SolverError),
}
