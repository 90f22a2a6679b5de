//! The captures that can be planned.

use crate::bench::Role;

/// What is done in a planned capture.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum CaptureKind {
    Start,
    RunDown,
    /// Shorted through this resistance.
    Brake {
        through_ohm: f64,
    },
    Locked,
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
