//! What could be measured in addition to what an estimate has.

use crate::bench::{Capture, Reading, ReadingTable};
use crate::events::Timeline;

/// A capture that could be made: simulated without noise at the fitted point.
#[derive(Clone, Debug)]
pub struct PlannedCapture {
    /// As it would be recorded, in the channels of the bench.
    pub capture: Capture,
    /// Its phases.
    pub timeline: Timeline,
    /// Back-EMF at its beginning, V.
    pub initial_emf_v: f64,
    /// Relative standard uncertainty of the K that its commutation ripple is expected to give; `None` where it gives none.
    pub ripple_relative: Option<f64>,
}

/// What could be done in addition to what the estimate has.
#[derive(Clone, Debug, Default)]
pub struct Addition {
    /// Further records.
    pub captures: Vec<PlannedCapture>,
    /// A speed names its capture; its value counts for nothing but its relative uncertainty.
    pub readings: Vec<Reading>,
    /// Tables as they would be read at the fitted point.
    pub tables: Vec<ReadingTable>,
    /// Instruments (index) whose gain would be known to this relative standard uncertainty, in all records.
    pub gains: Vec<(usize, f64)>,
    /// Relative standard uncertainty of a K that an existing capture (index) would give through its ripple.
    pub ripple: Vec<(usize, f64)>,
    /// K to evaluate at where the estimate has none, V·s/rad.
    pub assumed_constant_v_s_per_rad: f64,
}
