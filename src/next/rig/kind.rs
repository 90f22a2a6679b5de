//! The captures that can be planned.

use crate::bench::Role;

/// What is done in a planned capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CaptureKind {
    /// A start from rest.
    Start,
    /// A run-down with open terminals.
    RunDown,
    /// Shorted through this resistance.
    Brake {
        /// Resistance of the short in Ω.
        through_ohm: f64,
    },
    /// A voltage step onto the held rotor.
    Locked,
    /// Steady running.
    Steady,
}

impl CaptureKind {
    /// Its role in a bench sheet.
    pub fn role(self) -> Role {
        match self {
            CaptureKind::Start => Role::Start,
            CaptureKind::RunDown => Role::RunDown,
            CaptureKind::Brake { .. } => Role::Brake,
            CaptureKind::Locked => Role::LockedRotor,
            CaptureKind::Steady => Role::Steady,
        }
    }
}
