//! A capture cut into phases, each under one terminal condition.

use crate::bench::Doubt;

/// Terminal condition of a phase.
#[derive(Clone, Debug, PartialEq)]
pub enum PhaseKind {
    /// Rotor still, no voltage, no current.
    Rest,
    /// Connected to a source; current flows.
    Driven,
    /// Terminals open, rotor turning.
    Open,
    /// Terminals shorted, directly or through a resistor, rotor turning.
    Shorted,
    /// Not used by the fit, and why (`bounce`, `arc`, `clipped`, `standstill`, `gap`).
    Cut(String),
}

/// Rows `first .. end` (half-open) of a waveform.
#[derive(Clone, Debug, PartialEq)]
pub struct Phase {
    pub kind: PhaseKind,
    pub first: usize,
    pub end: usize,
}

/// The phases of one capture in time order, without holes or overlaps.
#[derive(Clone, Debug, PartialEq)]
pub struct Timeline {
    pub phases: Vec<Phase>,
    /// Instants found, worded for the person: name (`make`, `bounce`, `release`, `arc`, `short`, `standstill`) and time in s.
    pub instants: Vec<(String, f64)>,
    /// Doubts with numbers and their effect.
    pub remarks: Vec<String>,
    /// Those among them that decide what the capture can be used for.
    pub doubts: Vec<Doubt>,
}
