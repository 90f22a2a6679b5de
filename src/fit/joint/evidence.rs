//! What the records and their ripple show before any fit.

use super::memory::RippleMemory;
use crate::bench::Bench;
use crate::events::Timeline;
use crate::fit::checks::time_base;
use crate::fit::data::{Segment, first_guess, peak_current, segments};
use crate::fit::error::FitError;
use crate::fit::options::FitOptions;
use crate::fit::references::{RippleFinding, read_ripple, settled_constant, turn_volt_seconds};
use crate::fit::unknowns::{Direction, Layout, SharedEntries, add_heat_capacity};
use crate::fit::wording::{Remark, RemarkKind};
use crate::motor::TerminalParameters;

/// What the commutation ripple of the run-downs shows.
#[derive(Clone)]
pub struct Ripple {
    pub findings: Vec<RippleFinding>,
    /// Captures (index) whose ripple cannot be read, and why.
    pub unread: Vec<(usize, RemarkKind)>,
    /// Volt-seconds of back-EMF in a turn.
    pub turn_v_s: Option<f64>,
}

impl Ripple {
    /// Reads it.
    pub fn read(bench: &Bench, timelines: &[Timeline], memory: &RippleMemory) -> Self {
        let (findings, unread) = read_ripple(bench, timelines, memory);
        let turn_v_s = turn_volt_seconds(&findings);
        Ripple {
            findings,
            unread,
            turn_v_s,
        }
    }
}

/// The records as the model sees them, and what they show in closed form.
#[derive(Clone)]
pub struct Records {
    pub segments: Vec<Vec<Segment>>,
    pub guess: TerminalParameters,
    /// Largest current of a connected segment, A.
    pub peak_a: f64,
    /// Two time axes whose closed forms contradict each other, in words: the fit decides whether they do.
    pub time_contradiction: Option<Remark>,
}

impl Records {
    /// Cuts every record.
    ///
    /// # Errors
    /// When no current flows anywhere.
    pub fn cut(bench: &Bench, timelines: &[Timeline], ripple: &Ripple) -> Result<Self, FitError> {
        let segments: Vec<Vec<Segment>> = bench
            .captures
            .iter()
            .zip(timelines)
            .map(|(c, t)| segments(c, t, ripple.turn_v_s))
            .collect();
        Ok(Records {
            time_contradiction: time_base::between(bench, &segments),
            guess: first_guess(bench, &segments),
            peak_a: peak_current(&segments).ok_or(FitError::NothingToFit)?,
            segments,
        })
    }

    /// The same records with another first guess.
    pub fn with_guess(&self, guess: TerminalParameters) -> Self {
        Records {
            guess,
            ..self.clone()
        }
    }
}

/// The motor's own entries.
pub fn shared_entries(
    bench: &Bench,
    options: &FitOptions,
    ripple: &Ripple,
    records: &Records,
    layout: &mut Layout,
) -> SharedEntries {
    let Records {
        segments,
        guess,
        peak_a,
        ..
    } = records;
    let mut shared = SharedEntries::add(bench, guess, *peak_a, options, layout);
    shared.turn_v_s = ripple.turn_v_s;
    let constant = settled_constant(&ripple.findings);
    let heat = add_heat_capacity(bench, guess, constant, segments, layout);
    shared
        .entries
        .extend(heat.map(|entry| (Direction::HEAT, entry)));
    shared
}
