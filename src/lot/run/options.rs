//! How a lot is run, and what became of each motor.

use crate::fit::FitOptions;
use crate::lot::{Outcome, Part};
use std::num::NonZeroUsize;

/// How a lot is run.
#[derive(Clone, Debug)]
pub struct RunOptions {
    /// How each motor is fitted.
    pub fit: FitOptions,
    /// Lets sheets name files outside their own folder.
    pub allow_outside: bool,
    /// Motors at a time; `None`: as many as the machine has threads.
    pub threads: Option<NonZeroUsize>,
    /// The share of the lot that is done.
    pub part: Part,
    /// Does everything again.
    pub again: bool,
}

impl RunOptions {
    /// What of these decides a result.
    pub(super) fn settings(&self) -> String {
        format!(
            "level {:?}, guess factors {:?}, outside {}",
            self.fit.level, self.fit.guess_factors, self.allow_outside
        )
    }
}

/// What became of one motor.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// It was fitted.
    Done(Outcome),
    /// It was done before and is unchanged.
    Kept(Outcome),
}
