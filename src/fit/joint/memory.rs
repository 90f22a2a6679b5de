//! Ripple analyses kept from one fit to the next, by the content that they follow from.
//!
//! For one who fits again and again while single readings or captures change: the analysis of a run-down depends on nothing but its own
//! record and what was counted at the commutator. What is kept is what was computed, so a fit gives the same to the last bit.

use crate::bench::{Capture, Trace};
use crate::capture::TimeAxis;
use crate::events::Timeline;
use crate::ripple::{Counted, RippleResult, Unreadable};
use sha2::{Digest, Sha256};
use std::collections::HashMap;
use std::fmt;
use std::sync::{Arc, Mutex, PoisonError};

type Analysis = Result<RippleResult, Unreadable>;

#[derive(Default)]
struct Shelf {
    kept: HashMap<[u8; 32], (Analysis, u64)>,
    /// Number of the fit under way.
    turn: u64,
}

/// Analyses of the fit before; clones share them. The default keeps none.
#[derive(Clone, Default)]
pub struct RippleMemory(Option<Arc<Mutex<Shelf>>>);

impl RippleMemory {
    /// One that keeps what the last fit used.
    pub fn keeping() -> RippleMemory {
        RippleMemory(Some(Arc::default()))
    }

    /// The analysis of a capture's run-down: the one kept, or that of `analyse`.
    pub(in crate::fit) fn run_down(
        &self,
        capture: &Capture,
        timeline: &Timeline,
        counted: Counted,
        analyse: impl FnOnce() -> Analysis,
    ) -> Analysis {
        let Some(shelf) = &self.0 else {
            return analyse();
        };
        let key = key(capture, timeline, counted);
        {
            let mut shelf = shelf.lock().unwrap_or_else(PoisonError::into_inner);
            let turn = shelf.turn;
            if let Some((analysis, used)) = shelf.kept.get_mut(&key) {
                *used = turn;
                return analysis.clone();
            }
        }
        let analysis = analyse();
        let mut shelf = shelf.lock().unwrap_or_else(PoisonError::into_inner);
        let turn = shelf.turn;
        shelf.kept.insert(key, (analysis.clone(), turn));
        analysis
    }

    /// Ends a fit: what it did not use is forgotten.
    pub(in crate::fit) fn end_turn(&self) {
        if let Some(shelf) = &self.0 {
            let mut shelf = shelf.lock().unwrap_or_else(PoisonError::into_inner);
            let turn = shelf.turn;
            shelf.kept.retain(|_, (_, used)| *used == turn);
            shelf.turn += 1;
        }
    }
}

impl fmt::Debug for RippleMemory {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_tuple("RippleMemory")
            .field(&self.0.is_some())
            .finish()
    }
}

/// Digest of all that an analysis follows from.
fn key(capture: &Capture, timeline: &Timeline, counted: Counted) -> [u8; 32] {
    let mut digest = Sha256::new();
    let mut trace = |trace: &Option<Trace>| {
        if let Some(trace) = trace {
            digest.update(bytemuck::cast_slice(&trace.values));
            digest.update(bytemuck::cast_slice(&trace.clipped));
            digest.update(format!("{:?}", trace.quantisation_step));
        }
        digest.update(b";");
    };
    trace(&capture.waveform.voltage_v);
    trace(&capture.waveform.current_a);
    match &capture.waveform.time {
        TimeAxis::Listed(times) => digest.update(bytemuck::cast_slice(times)),
        even => digest.update(format!("{even:?}")),
    }
    let zero = capture.voltage_chain.as_ref().map(|c| c.zero_uncertainty);
    digest.update(format!(
        "{:?}{zero:?}{counted:?}{:?}",
        timeline.phases, timeline.events
    ));
    digest.finalize().into()
}
