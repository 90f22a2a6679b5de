//! A bench with all that follows from it, and how a failure keeps what was doubted before it.

use crate::bench::Bench;
use crate::events::{self, Timeline};
use crate::fit::solve::SolverError;
use crate::fit::{Estimate, FitError, FitOptions, estimate_in_stages};
use crate::motor_file::{MotorFile, ResultState, Severity, Warning, assemble};
use crate::thermal;
use rayon::prelude::*;
use std::fmt;

/// What follows from a bench. The bench itself stays with the caller.
#[non_exhaustive]
pub struct Identified {
    /// One a capture, in the order of the bench.
    pub timelines: Vec<Timeline>,
    /// The joint fit.
    pub estimate: Estimate,
    /// What is written of it.
    pub file: MotorFile,
}

impl Identified {
    /// What the result is worth as a whole.
    pub fn state(&self) -> ResultState {
        self.file.state()
    }
}

/// Why a bench could not be fitted, with the timelines: what was doubted in the captures most often says why.
#[derive(thiserror::Error)]
#[error("the captures could not be fitted")]
#[non_exhaustive]
pub struct IdentifyError {
    /// One a capture, in the order of the bench.
    pub timelines: Vec<Timeline>,
    /// Why there is no estimate.
    #[source]
    pub source: FitError,
}

impl fmt::Debug for IdentifyError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        // The timelines would bury the reason.
        f.debug_struct("IdentifyError")
            .field("source", &self.source)
            .finish_non_exhaustive()
    }
}

impl IdentifyError {
    /// Warnings about the bench and its captures, one sentence each, those of a capture under its name.
    pub fn warnings<'a>(&'a self, bench: &'a Bench) -> impl Iterator<Item = String> + 'a {
        let of_captures =
            bench
                .captures
                .iter()
                .zip(&self.timelines)
                .flat_map(|(capture, timeline)| {
                    timeline
                        .remarks
                        .iter()
                        .map(|remark| format!("{}: {remark}", capture.name))
                });
        bench
            .warnings
            .iter()
            .map(ToString::to_string)
            .chain(of_captures)
    }
}

/// The events of every capture, in the order of the bench.
pub fn find_events(bench: &Bench) -> Vec<Timeline> {
    bench
        .captures
        .par_iter()
        .map(events::find_in_capture)
        .collect()
}

/// Finds the events, fits the motor and assembles its file. `lap` is called with the name of each stage as it ends.
///
/// # Errors
/// [`IdentifyError`] when no capture can be used, the model cannot be evaluated at the first guess, or the monitor of the
/// options interrupts the fit.
pub fn identify(
    bench: &Bench,
    options: &FitOptions,
    mut lap: impl FnMut(&'static str),
) -> Result<Identified, IdentifyError> {
    let timelines = find_events(bench);
    lap("find events");
    identify_with(bench, timelines, options, lap)
}

/// As [`identify`], with the timelines of [`find_events`].
///
/// # Errors
/// As [`identify`].
pub fn identify_with(
    bench: &Bench,
    timelines: Vec<Timeline>,
    options: &FitOptions,
    mut lap: impl FnMut(&'static str),
) -> Result<Identified, IdentifyError> {
    let ended = match estimate_in_stages(bench, &timelines, options, &mut lap) {
        _ if options.monitor.interrupt.requested() => Err(SolverError::Interrupted.into()),
        ended => ended,
    };
    let estimate = match ended {
        Ok(estimate) => estimate,
        Err(source) => return Err(IdentifyError { timelines, source }),
    };
    let mut file = assemble(bench, &timelines, &estimate);
    lap("assemble");
    if !bench.heat.is_empty() {
        add_thermal(bench, &mut file, options.level);
        lap("heat records");
    }
    Ok(Identified {
        timelines,
        estimate,
        file,
    })
}

/// Adds the thermal model of the bench's heat records, and what contradicts it.
fn add_thermal(bench: &Bench, file: &mut MotorFile, level: f64) {
    let found = thermal::identify(bench, file, level);
    file.thermal = found.thermal;
    file.confrontations.extend(found.conflicts);
    file.warnings
        .extend(found.warnings.into_iter().map(|remark| Warning {
            severity: Severity::Warning,
            kind: "heat_records".to_owned(),
            subject: None,
            values: serde_json::Map::new(),
            text: remark.to_string(),
        }));
    file.content_sha256 = Some(file.content_sha256());
}
