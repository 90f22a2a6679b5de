//! The joint estimate: builds the problem, weighs the rows by their own residuals, solves, and keeps what follows.

use super::checks::decade_error;
use super::checks::instrument_check;
use super::checks::time_base;
use super::checks::{LeftOut, TermDecision, conflicts, left_out, model_terms};
use super::data::{Leg, first_deviations, first_guess, legs};
use super::descent::{CLOSE, COARSE, FAR, FINE, ROUGH, solve};
use super::model::warming;
use super::model::{CaptureModel, Prediction, Shared, direction};
use super::problem::Problem;
use super::references::driven;
use super::references::readings;
use super::references::{
    CurrentSpeed, RippleFinding, SoFar, current_anchors, read_ripple, ripple_anchors,
    ripple_anchors_beside, ripple_words, turn_volt_seconds,
};
use super::solve::{SecondOrder, Solution, SolverError, StopReason};
use super::uncertainty::{Covariance, Reach, covariance, reaches};
use super::unknowns::{
    Layout, Slot, clock, inductance_seen, largest_voltage, peak_current, reference_temperature,
    shared_parameters,
};
use super::weights::{noise_of_rows, reweigh};
use crate::bench::{Bench, Doubt};
use crate::events::Timeline;
use crate::motor::TerminalParameters;
use std::sync::Arc;

/// Settings of a fit.
#[derive(Clone, Debug)]
pub struct FitOptions {
    /// Level of the intervals, 0.95 unless told.
    pub level: f64,
    /// Multiplies the first guess of R, L and C_m, to test convergence.
    pub guess_factors: [f64; 3],
}

impl Default for FitOptions {
    fn default() -> Self {
        FitOptions {
            level: 0.95,
            guess_factors: [1.0; 3],
        }
    }
}

/// Why no estimate could be made.
#[derive(Debug, thiserror::Error)]
pub enum FitError {
    #[error(
        "no capture holds a stretch in which current flows and the model can follow it; a start, a run-down and a brake are the usual three"
    )]
    NothingToFit,
    #[error(
        "the model could not be evaluated at the first guess ({0}); check scales, polarity and roles with `rundown look`"
    )]
    Start(String),
    #[error(
        "the fit was given up after {steps_per_bin:.0} model steps a point, where sound captures take up to some 300: the model follows a voltage that \
         belongs to another state of the motor, or a time axis is off. Look at role, polarity and time of every capture with `rundown look`"
    )]
    GivenUp { steps_per_bin: f64 },
    #[error("{0}")]
    TimeBase(String),
    #[error(transparent)]
    Solver(#[from] SolverError),
}

/// The solved problem.
pub struct Estimate {
    pub problem: Problem,
    pub solution: Solution,
    pub predictions: Arc<Vec<Prediction>>,
    pub covariance: Covariance,
    pub legs: Vec<Vec<Leg>>,
    /// Winding temperature to which R belongs, °C, with its standard uncertainty.
    pub temperature_c: Option<(f64, f64)>,
    pub terms: Vec<TermDecision>,
    /// What the ripple found, in words.
    pub findings: Vec<String>,
    /// What the commutation ripple of each run-down said.
    pub ripple: Vec<RippleFinding>,
    /// Speeds that the ripple of currents told and that entered the fit.
    pub speeds: Vec<CurrentSpeed>,
    pub remarks: Vec<String>,
    /// Those among them that decide whether the estimate may be trusted.
    pub doubts: Vec<Doubt>,
    pub options: FitOptions,
    /// False where every rise of current falls between two samples.
    pub inductance_seen: bool,
    /// Largest current and voltage that any capture shows, A and V.
    pub largest: (f64, f64),
    /// Intervals that the profile likelihood shapes; the others are plain.
    pub profiles: Vec<Reach>,
    /// What each capture does to the result.
    pub left_out: Vec<LeftOut>,
}

/// Estimates the motor from a bench and the timelines of its captures (same order).
///
/// # Errors
/// When no capture can be used, or the model cannot be evaluated at the first guess.
pub fn estimate(
    bench: &Bench,
    timelines: &[Timeline],
    options: &FitOptions,
) -> Result<Estimate, FitError> {
    estimate_in_stages(bench, timelines, options, |_| {})
}

/// The same; `lap` is called with the name of each stage as it ends.
///
/// # Errors
/// As for [`estimate`].
pub fn estimate_in_stages(
    bench: &Bench,
    timelines: &[Timeline],
    options: &FitOptions,
    mut lap: impl FnMut(&'static str),
) -> Result<Estimate, FitError> {
    let (mut ripple, unread) = read_ripple(bench, timelines);
    let mut findings = Vec::new();
    lap("ripple of run-downs");
    let turn_v_s = turn_volt_seconds(&ripple);
    let legs: Vec<Vec<Leg>> = bench
        .captures
        .iter()
        .zip(timelines)
        .map(|(c, t)| legs(c, t, turn_v_s))
        .collect();
    if let Some(told) = time_base::between(bench, &legs) {
        return Err(FitError::TimeBase(told));
    }
    let guess = first_guess(bench, &legs);
    let peak_a = peak_current(&legs).ok_or(FitError::NothingToFit)?;
    let temperature_c = reference_temperature(bench);
    let mut layout = Layout::default();
    let mut shared = Shared {
        turn_v_s,
        ..shared_parameters(
            bench,
            &guess,
            peak_a,
            temperature_c.map(|t| t.0),
            options,
            &mut layout,
        )
    };
    let warms = warming::add_heat_capacity(bench, &guess, &ripple, &legs, &mut layout);
    shared
        .entries
        .extend(warms.map(|entry| (direction::HEAT, entry)));
    let models: Vec<CaptureModel> = legs
        .iter()
        .enumerate()
        .map(|(k, legs)| CaptureModel::new(bench, k, legs.clone(), &shared, &mut layout))
        .collect();
    let (mut terms, mut remarks) =
        readings::prepare(bench, &models, &mut layout, temperature_c.map(|t| t.0));
    let mut doubts = Vec::new();
    if let Some(told) = time_base::against_any_motor(bench, &legs) {
        remarks.push(told);
        doubts.push(Doubt::TimeBase);
    }
    if let Some(told) = decade_error::against_the_ohmmeter(bench, &legs) {
        remarks.push(told);
        doubts.push(Doubt::TenTimesOff);
    }
    let driven = driven::terms(bench, timelines, &ripple, &models, &mut layout);
    terms.extend(driven.terms);
    remarks.extend(driven.remarks);
    findings.extend(driven.findings);
    // Beside another anchor the ripple waits until that has said what it knows.
    let anchored = layout.find(&Slot::LogBackEmfConstant);
    if anchored.is_none() {
        terms.extend(ripple_anchors(&ripple, &models, &mut layout));
    }
    let mut problem = Problem::new(layout, models, terms);
    problem.clock_relative_sd = clock(bench);
    // First the plain motor, then the terms that bend it.
    let mut x = problem.layout.start();
    let optional = model_terms::optional_entries(&problem.layout);
    for &entry in &optional {
        problem.freeze(entry, x[entry]);
    }
    problem.set_eddy(false);
    let start = problem
        .predict(&x)
        .ok_or_else(|| FitError::Start(describe(&guess)))?;
    if start
        .iter()
        .all(|p| p.rows.iter().all(|r| r.zero_uncertainty.is_some()))
    {
        return Err(FitError::NothingToFit);
    }
    for (k, prediction) in start.iter().enumerate() {
        problem.deviations[k] = first_deviations(&prediction.rows);
    }
    x = solve(&problem, &x, 60, ROUGH, FAR, None)?.x;
    reweigh(&mut problem, bench, &x);
    let nothing = SecondOrder::default();
    let plain = solve(&problem, &x, 60, COARSE, CLOSE, Some(&nothing))?;
    lap("first fit");
    let mut speeds = Vec::new();
    if let Some(entry) = problem.layout.find(&Slot::LogBackEmfConstant)
        && let Some(predictions) = problem.predict(&plain.x)
    {
        let spread = covariance(&problem, &plain, &predictions).total;
        let (_, [voltage_share, _]) = noise_of_rows(&problem, bench, &plain.x, &predictions);
        let so_far = SoFar {
            x: &plain.x,
            covariance: &spread,
            voltage_share,
        };
        if anchored.is_some() {
            let (terms, told) = ripple_anchors_beside(
                &mut ripple,
                entry,
                &so_far,
                bench.motor.commutator_segments,
                &problem.models,
                &mut problem.layout,
            );
            problem.readings.extend(terms);
            remarks.extend(told);
        }
        let found = current_anchors(bench, timelines, &ripple, &mut problem, &so_far);
        problem.readings.extend(found.terms);
        remarks.extend(found.remarks);
        findings.extend(found.speeds.iter().map(|s| s.words(bench)));
        speeds = found.speeds;
    }
    lap("ripple of currents");
    x = plain.x;
    for &entry in &optional {
        problem.thaw(entry);
    }
    problem.set_eddy(true);
    let mut second_order = nothing;
    for _ in 0..2 {
        let found = solve(&problem, &x, 60, COARSE, CLOSE, Some(&second_order))?;
        x = found.x;
        second_order = found.second_order;
        reweigh(&mut problem, bench, &x);
    }
    let mut solution = solve(&problem, &x, 60, FINE, CLOSE, Some(&second_order))?;
    let mut decisions = model_terms::decide(&mut problem, &mut solution)?;
    let predictions = problem
        .predict(&solution.x)
        .ok_or_else(|| FitError::Start(describe(&guess)))?;
    remarks.extend(conflicts(&mut problem, &solution.x, &predictions)?);
    let covariance = covariance(&problem, &solution, &predictions);
    decisions.extend(model_terms::limited(&problem, &covariance));
    remarks.extend(warming::told(&problem, &solution.x, &predictions));
    findings.splice(
        ..0,
        ripple_words(bench, &ripple, &unread, anchored.is_some()),
    );
    let mut out = Estimate {
        problem,
        solution,
        predictions,
        covariance,
        legs,
        temperature_c,
        terms: decisions,
        ripple,
        speeds,
        findings,
        remarks,
        doubts,
        options: options.clone(),
        inductance_seen: inductance_seen(bench, timelines),
        largest: (peak_a, largest_voltage(bench)),
        profiles: Vec::new(),
        left_out: Vec::new(),
    };
    lap("joint fit");
    out.problem.lift_bound();
    if out.converged() {
        out.left_out = left_out(&out);
        if !out.doubts.contains(&Doubt::TenTimesOff) {
            let told = instrument_check::contradictions(&out);
            out.remarks.extend(told);
        }
        out.profiles = reaches(&out);
    }
    lap("profiles");
    Ok(out)
}

fn describe(p: &TerminalParameters) -> String {
    format!(
        "R {:.3e} Ω, L {:.3e} H, J/K² {:.3e} F",
        p.terminal_resistance_ohm, p.armature_inductance_h, p.inertia_capacitance_f
    )
}

impl Estimate {
    /// Value of a slot, where it takes part.
    pub fn value(&self, slot: &Slot) -> Option<f64> {
        self.problem.layout.find(slot).map(|k| self.solution.x[k])
    }

    /// Whether the solver ended at a minimum.
    pub fn converged(&self) -> bool {
        self.solution.reason.converged()
    }

    /// Why the solver ended.
    pub fn reason(&self) -> StopReason {
        self.solution.reason
    }
}
