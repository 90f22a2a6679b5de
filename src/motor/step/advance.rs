//! What holds during a step, and what comes of it.

use crate::motor::{Real, State};

/// What holds at the terminals during a step.
#[derive(Clone, Copy, Debug)]
pub enum Condition<S> {
    /// The loop is closed on this voltage, V, constant over the step.
    Voltage(S),
    /// The current is imposed, A, constant over the step.
    Current(S),
    /// No current.
    Open,
}

/// State at the end of a step and means over it.
#[derive(Clone, Copy, Debug)]
pub struct Advance<S> {
    /// State at the end of the step.
    pub end: State<S>,
    /// Mean current over the step, A.
    pub mean_current: S,
    /// Mean back-EMF over the step, V.
    pub mean_back_emf: S,
    /// Steps that were computed for it, those of halvings included.
    pub steps: u32,
}

impl<S: Real> Advance<S> {
    /// Of `first_s` seconds of this step and `second_s` of another that follows it.
    pub(super) fn followed_by(self, first_s: f64, second: Advance<S>, second_s: f64) -> Self {
        let share = first_s / (first_s + second_s);
        Advance {
            end: second.end,
            mean_current: self.mean_current * share + second.mean_current * (1.0 - share),
            mean_back_emf: self.mean_back_emf * share + second.mean_back_emf * (1.0 - share),
            steps: self.steps + second.steps,
        }
    }
}
