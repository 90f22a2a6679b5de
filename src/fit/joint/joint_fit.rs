//! The joint fit step by step: read the ripple, cut the records, build the problem, fit the plain motor, add the speed references that
//! need a first fit, fit every term, decide which terms stay, and check the evidence against itself.

use super::descent::{CLOSE, COARSE, FINE, MOST_TRIALS, solve};
use super::evidence::{Records, Ripple, shared_entries};
use super::preliminary_fit::PreliminaryFit;
use super::weights::reweigh;
use crate::bench::{Bench, BrushKind, CaptureWarning, Stated};
use crate::events::Timeline;
use crate::fit::checks::{
    FOLLOWED, causes, confront, large_shunts, leave_one_out, model_terms, repeats, warmed_captures,
    warnings_before_the_fit,
};
use crate::fit::confrontation::Confrontation;
use crate::fit::data::{
    clock, further_guesses, inductance_seen, largest_voltage, reference_temperature,
};
use crate::fit::error::FitError;
use crate::fit::estimate::{Estimate, TermDecision};
use crate::fit::model::CaptureModel;
use crate::fit::options::FitOptions;
use crate::fit::problem::Problem;
use crate::fit::references::{
    CurrentSpeed, ShaftTerm, current_references, driven_terms, prepare_readings, ripple_alone,
    ripple_references_beside, ripple_remarks, shaft_references_beside, shaft_terms,
    unchecked_sensor,
};
use crate::fit::solve::{SecondOrder, Solution};
use crate::fit::uncertainty::{covariance, profile_to_wald_ratios};
use crate::fit::unknowns::{Entry, Layout, Parameter, ParameterKind, Source};
use crate::fit::wording::Remark;
use crate::motor::TerminalParameters;
use crate::quantity::engineering;
use crate::ripple::Counted;
use std::iter;

/// Rounds of new weights and another descent, once every term takes part.
const ROUNDS_OF_WEIGHTS: usize = 2;

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
    let ripple = Ripple::read(bench, timelines, &options.memory);
    lap("ripple of run-downs");
    let records = Records::cut(bench, timelines, &ripple)?;
    let (mut fit, plain) = begin(bench, timelines, options, &ripple, &records)?;
    lap("first fit");
    fit.add_references_from_ripple(&plain);
    lap("ripple of currents");
    let left = fit.shares_left(&plain);
    let mut estimate = fit
        .finish(plain)
        .map_err(|error| explained(error, bench, &records, Some(&left)))?;
    lap("joint fit");
    check(&mut estimate, bench);
    lap("profiles");
    Ok(estimate)
}

/// The plain motor from the first guess, and where the records are not followed from there, from the others; the best of them.
///
/// # Errors
/// When the model follows no record from any guess, or time axes contradict each other and the fit with them.
fn begin<'a>(
    bench: &'a Bench,
    timelines: &'a [Timeline],
    options: &'a FitOptions,
    ripple: &Ripple,
    records: &Records,
) -> Result<(JointFit<'a>, Solution), FitError> {
    let further = || further_guesses(bench, &records.segments, &records.guess);
    let guesses = iter::once(records.guess).chain(iter::once_with(further).flatten());
    let mut best: Option<(f64, JointFit<'a>, Solution)> = None;
    let mut failure = None;
    for guess in guesses {
        let there = records.with_guess(guess);
        let mut fit = JointFit::build(bench, timelines, options, ripple.clone(), there);
        match fit.fit_plain_motor() {
            Ok(plain) => {
                let left = fit.largest_share_left(&plain);
                if best.as_ref().is_none_or(|(least, ..)| left < *least) {
                    best = Some((left, fit, plain));
                }
                if left < FOLLOWED {
                    break;
                }
            }
            Err(error) if error.is_final() => return Err(error),
            Err(error) => {
                failure = failure.or(Some(error));
            }
        }
    }
    match (best, &records.time_contradiction) {
        (Some((left, ..)), Some(contradiction)) if left >= FOLLOWED => {
            Err(FitError::TimeBase(Box::new(contradiction.clone())))
        }
        (Some((_, fit, plain)), _) => Ok((fit, plain)),
        (None, Some(contradiction)) => Err(FitError::TimeBase(Box::new(contradiction.clone()))),
        (None, None) => {
            let error = failure.unwrap_or(FitError::NothingToFit);
            Err(explained(error, bench, records, None))
        }
    }
}

/// A fit that gave up, with what the records themselves show of the cause.
fn explained(error: FitError, bench: &Bench, records: &Records, left: Option<&[f64]>) -> FitError {
    match error {
        error if error.is_final() => error,
        FitError::GivenUp { steps_per_bin } => FitError::NotFollowed {
            why: format!("the fit was given up after {steps_per_bin:.0} model steps a point"),
            causes: causes(bench, &records.segments, left),
        },
        FitError::Start(_) | FitError::Solver(_) => FitError::NotFollowed {
            why: error.to_string(),
            causes: causes(bench, &records.segments, left),
        },
        other => other,
    }
}

/// Standard deviation of the logarithm of a scale that a capture may have for itself: any, to a factor of ten and more.
const OWN_SCALE_SD: f64 = 2.0;

/// A fit under way.
pub(super) struct JointFit<'a> {
    pub(super) bench: &'a Bench,
    pub(super) timelines: &'a [Timeline],
    pub(super) options: &'a FitOptions,
    pub(super) ripple: Ripple,
    pub(super) records: Records,
    /// Winding temperature to which R belongs, °C.
    pub(super) temperature_c: Option<Stated>,
    pub(super) problem: Problem,
    /// Entries that the plain motor does without.
    pub(super) optional: Vec<Entry>,
    /// Whether something else than the ripple of run-downs gives the back-EMF constant.
    pub(super) has_reference: bool,
    /// Sensors on the shaft that wait for the plain motor, and whether nothing else gives the back-EMF constant.
    pub(super) sensors: Vec<ShaftTerm>,
    pub(super) sensors_alone: bool,
    pub(super) speeds: Vec<CurrentSpeed>,
    pub(super) remarks: Vec<Remark>,
    pub(super) capture_warnings: Vec<CaptureWarning>,
    /// Speed references and segment counts beside each other.
    pub(super) confrontations: Vec<Confrontation>,
    /// ln of the constants of references in conflict, with their standard uncertainties.
    pub(super) constants: Vec<(f64, f64)>,
}

impl<'a> JointFit<'a> {
    /// The problem with its unknowns, captures and readings.
    fn build(
        bench: &'a Bench,
        timelines: &'a [Timeline],
        options: &'a FitOptions,
        ripple: Ripple,
        records: Records,
    ) -> Self {
        let temperature_c = reference_temperature(bench);
        let mut layout = Layout::default();
        let shared = shared_entries(bench, options, &ripple, &records, &mut layout);
        let mut models: Vec<CaptureModel> = records
            .segments
            .iter()
            .enumerate()
            .map(|(k, segments)| {
                CaptureModel::new(bench, k, segments.clone(), &shared, &mut layout)
            })
            .collect();
        let (mut terms, mut remarks) =
            prepare_readings(bench, &models, &mut layout, temperature_c.map(|t| t.value));
        let capture_warnings = warnings_before_the_fit(bench, &records.segments, &mut remarks);
        let driven = driven_terms(bench, timelines, &ripple.findings, &models, &mut layout);
        terms.extend(driven.terms);
        remarks.extend(driven.remarks);
        // Beside another reference the ripple waits until that has said what it knows.
        let has_reference = layout.find(&ParameterKind::LogBackEmfConstant).is_some();
        let (mut confrontations, mut constants) = (Vec::new(), Vec::new());
        if !has_reference {
            let counted = Counted::of(&bench.motor);
            let alone = ripple_alone(&ripple.findings, counted, &models, &mut layout);
            terms.extend(alone.terms);
            confrontations = alone.confrontations;
            constants = alone.constants;
        }
        let alone = layout.find(&ParameterKind::LogBackEmfConstant).is_none();
        let (sensors, doubts) = shaft_terms(bench, &mut models, &mut layout);
        remarks.extend(doubts);
        let own_scale = Parameter::free(ParameterKind::OwnScale, 0.0)
            .with_prior(0.0, OWN_SCALE_SD, Source::Size)
            .stepping(0.3);
        let own_scale = layout.add(own_scale);
        let mut problem = Problem::new(layout, models, terms);
        problem.freeze(own_scale, 0.0);
        problem.clock_relative_sd = clock(bench);
        problem.monitor = options.monitor.clone();
        JointFit {
            bench,
            timelines,
            options,
            ripple,
            records,
            temperature_c,
            optional: model_terms::optional_entries(&problem.layout),
            problem,
            has_reference,
            sensors_alone: alone && !sensors.is_empty(),
            sensors,
            speeds: Vec::new(),
            remarks,
            capture_warnings,
            confrontations,
            constants,
        }
    }

    /// Every term, the decision which of them stay, and the estimate.
    fn finish(mut self, plain: Solution) -> Result<Estimate, FitError> {
        let mut solution = self.fit_every_term(plain)?;
        let terms = model_terms::decide(
            &mut self.problem,
            &mut solution,
            largest_voltage(self.bench),
        )?;
        self.conclude(solution, terms)
    }

    /// Speeds that the ripple gives, where the plain motor already has a constant to compare them with.
    fn add_references_from_ripple(&mut self, plain: &Solution) {
        let problem = &mut self.problem;
        let Some(constant) = problem.layout.find(&ParameterKind::LogBackEmfConstant) else {
            return;
        };
        let Some(predictions) = problem.predict(&plain.x) else {
            return;
        };
        let preliminary = PreliminaryFit::of(problem, self.bench, plain, &predictions);
        if self.has_reference {
            let beside = ripple_references_beside(
                &mut self.ripple.findings,
                constant,
                &preliminary,
                Counted::of(&self.bench.motor),
                &problem.models,
                &mut problem.layout,
            );
            problem.readings.extend(beside.terms);
            self.confrontations.extend(beside.confrontations);
            self.constants.extend(beside.constants);
        }
        let of_shaft = shaft_references_beside(
            std::mem::take(&mut self.sensors),
            constant,
            &preliminary,
            &predictions,
            &problem.models,
        );
        self.confrontations.extend(of_shaft.confrontations);
        self.constants.extend(of_shaft.constants);
        let of_currents = current_references(
            self.bench,
            self.timelines,
            &self.ripple.findings,
            problem,
            &preliminary,
        );
        problem.readings.extend(of_currents.terms);
        problem.readings.extend(of_shaft.terms);
        self.remarks.extend(of_currents.remarks);
        self.confrontations.extend(of_currents.confrontations);
        self.constants.extend(of_currents.constants);
        let found = of_currents.speeds.iter().map(|s| s.remark(self.bench));
        self.remarks.extend(found);
        self.speeds = of_currents.speeds;
    }

    /// The motor with every term, from the plain one, with the weights of its own residuals.
    fn fit_every_term(&mut self, plain: Solution) -> Result<Solution, FitError> {
        let problem = &mut self.problem;
        problem.allow_whole_fit();
        for &entry in &self.optional {
            problem.thaw(entry);
        }
        problem.set_eddy(true);
        let mut x = plain.x;
        let mut second_order = SecondOrder::default();
        for _ in 0..ROUNDS_OF_WEIGHTS {
            let found = solve(problem, &x, MOST_TRIALS, COARSE, CLOSE, Some(&second_order))?;
            x = found.x;
            second_order = found.second_order;
            reweigh(problem, self.bench, &x);
        }
        solve(problem, &x, MOST_TRIALS, FINE, CLOSE, Some(&second_order))
    }

    /// The estimate with its covariance.
    fn conclude(
        mut self,
        solution: Solution,
        mut terms: Vec<TermDecision>,
    ) -> Result<Estimate, FitError> {
        let predictions = self
            .problem
            .predict(&solution.x)
            .ok_or_else(|| not_evaluable(&self.records.guess))?;
        let covariance = covariance(&self.problem, &solution, &predictions);
        terms.extend(model_terms::limited(&self.problem, &covariance));
        self.remarks
            .extend(unchecked_sensor(&self.problem.readings));
        let warmed = warmed_captures(&self.problem, &solution.x, &predictions);
        self.remarks.extend(warmed);
        if let Some(entry) = self.problem.layout.find(&ParameterKind::LogResistance) {
            let shunts = large_shunts(self.bench, solution.x[entry].exp());
            self.remarks.extend(shunts);
        }
        let Ripple {
            findings: ripple,
            unread,
            ..
        } = self.ripple;
        let of_ripple = ripple_remarks(self.bench, &ripple, &unread, self.has_reference);
        self.remarks.extend(of_ripple);
        Ok(Estimate {
            problem: self.problem,
            solution,
            predictions,
            covariance,
            temperature_c: self.temperature_c,
            other_share: BrushKind::other_share(self.bench.motor.brushes),
            terms,
            ripple,
            speeds: self.speeds,
            remarks: self.remarks,
            capture_warnings: self.capture_warnings,
            options: self.options.clone(),
            inductance_seen: inductance_seen(self.bench, self.timelines),
            largest_current_a: self.records.peak_a,
            largest_voltage_v: largest_voltage(self.bench),
            segments: self.records.segments,
            profiles: Vec::new(),
            leave_one_out: Vec::new(),
            confrontations: self.confrontations,
            disputed: Vec::new(),
            constants_in_conflict: self.constants,
        })
    }
}

/// Every item of evidence beside the others, and the intervals that their profile shapes.
fn check(estimate: &mut Estimate, bench: &Bench) {
    estimate.problem.lift_bound();
    if estimate.converged() {
        estimate.leave_one_out = leave_one_out(estimate);
        let repeated = repeats(estimate, bench);
        estimate.remarks.extend(repeated);
    }
    confront(estimate, bench);
    if estimate.converged() {
        estimate.profiles = profile_to_wald_ratios(estimate);
    }
}

pub(super) fn not_evaluable(guess: &TerminalParameters) -> FitError {
    FitError::Start(format!(
        "R {}, L {}, J/K² {}",
        engineering(guess.terminal_resistance_ohm, "Ω"),
        engineering(guess.armature_inductance_h, "H"),
        engineering(guess.inertia_capacitance_f, "F")
    ))
}
