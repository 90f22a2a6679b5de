//! Make, bounce, release, arc, short, standstill: the phases of a waveform.

mod phase;

pub use phase::{Phase, PhaseKind, Timeline};
