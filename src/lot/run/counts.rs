//! What became of the motors of a lot.

use crate::lot::Outcome;

/// What became of one motor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// It was fitted.
    Done(Outcome),
    /// It was done before and is unchanged.
    Kept(Outcome),
}

impl Step {
    /// True where it was done before.
    pub fn is_kept(self) -> bool {
        matches!(self, Step::Kept(_))
    }
}

/// What became of all.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, serde::Serialize)]
pub struct Counts {
    /// All of them.
    pub motors: u64,
    /// Those with a result that stands.
    pub stand: u64,
    /// Those with one that should not be trusted.
    pub doubtful: u64,
    /// Those without one.
    pub failed: u64,
}
