//! A guessed role with its grounds.

use super::ground::Ground;
use crate::bench::Role;

/// A guessed role.
#[derive(Clone, Debug, PartialEq)]
#[non_exhaustive]
pub struct RoleGuess {
    /// The role that is most probable.
    pub role: Role,
    /// Between 0 (a coin) and 1 (no other reading is plausible); a judgement by margins, no probability.
    pub confidence: f64,
    /// What in the waveform shows it.
    pub reason: Ground,
    /// Other roles that the shape leaves open, with their confidence, most likely first.
    pub alternatives: Vec<(Role, f64)>,
}

impl RoleGuess {
    pub(crate) fn new(role: Role, confidence: f64, reason: Ground) -> RoleGuess {
        RoleGuess {
            role,
            confidence,
            reason,
            alternatives: Vec::new(),
        }
    }

    pub(crate) fn or(mut self, role: Role, confidence: f64) -> RoleGuess {
        self.alternatives.push((role, confidence));
        self
    }
}
