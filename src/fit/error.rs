//! Why no estimate could be made.

use super::solve::SolverError;

/// Why no estimate could be made.
#[derive(Debug, thiserror::Error)]
pub enum FitError {
    #[error(
        "no capture holds a stretch in which current flows and the model can follow it; a start, a run-down and a brake are the usual three"
    )]
    NothingToFit,
    #[error(
        "the model could not be evaluated at the first guess ({0}); check scales, polarity and roles with `rundown look`"
    )]
    Start(String),
    #[error(
        "the fit was given up after {steps_per_bin:.0} model steps a point, where sound captures take up to some 300: the model follows a voltage that \
         belongs to another state of the motor, or a time axis is off. Look at role, polarity and time of every capture with `rundown look`"
    )]
    GivenUp { steps_per_bin: f64 },
    #[error("{0}")]
    TimeBase(String),
    #[error(transparent)]
    Solver(#[from] SolverError),
}
