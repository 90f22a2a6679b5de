//! The joint estimate: builds the problem, weighs the rows by their own residuals, solves, and keeps what follows.

use super::capture_model::{CaptureModel, Shared};
use super::conflict::conflicts;
use super::covariance::{Covariance, covariance, inverse_over};
use super::current_anchor::{CurrentSpeed, current_anchors};
use super::driven;
use super::guess::first_guess;
use super::lanes::direction;
use super::layout::{Layout, Parameter, Slot, Source};
use super::left_out::{LeftOut, left_out};
use super::legs::{Leg, LegKind, legs};
use super::meters;
use super::prediction::{Prediction, Quantity};
use super::problem::Problem;
use super::profiled::{Reach, reaches};
use super::readings;
use super::ripple_anchor::{
    RippleFinding, read_ripple, ripple_anchors, ripple_anchors_beside, turn_volt_seconds,
};
use super::rows::{Departures, Scatter, deviations, first_deviations, scatter_of_residuals};
use super::so_far::SoFar;
use super::solver::{Solution, SolverError, SolverOptions, StopReason, minimise};
use super::tenfold;
use super::terms::{self, TermDecision};
use super::time_base;
use super::warming;
use crate::bench::{Bench, Capture, Doubt, Reading, Role};
use crate::events::Timeline;
use crate::motor::TerminalParameters;
use crate::stats::lanes;
use nalgebra::DVector;
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

/// Relative standard deviation of the resistance over rotor positions where nothing better is known: 2 % (common
/// practice, no source).
const POSITION_SD: f64 = 0.02;

/// Least share of the inductance that is simulated as screened: none at all has no state of its own.
const LEAST_SHARE: f64 = 2e-3;

/// Estimates the motor from a bench and the timelines of its captures (same order).
///
/// # Errors
/// When no capture can be used, or the model cannot be evaluated at the first guess.
pub fn estimate(
    bench: &Bench,
    timelines: &[Timeline],
    options: &FitOptions,
) -> Result<Estimate, FitError> {
    let (mut ripple, mut findings) = read_ripple(bench, timelines);
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
    if let Some(told) = tenfold::against_the_ohmmeter(bench, &legs) {
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
    let mut x = problem.layout.start();
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
    // First the plain motor, then the terms that bend it.
    let optional = terms::optional_entries(&problem.layout);
    for &entry in &optional {
        problem.freeze(entry, x[entry]);
    }
    problem.set_eddy(false);
    x = solve(&problem, &x, 60, COARSE, FAR)?.x;
    reweigh(&mut problem, bench, &x);
    let plain = solve(&problem, &x, 60, COARSE, CLOSE)?;
    let mut speeds = Vec::new();
    if let Some(entry) = problem.layout.find(&Slot::LogBackEmfConstant)
        && let Some(predictions) = problem.predict(&plain.x)
    {
        let spread = covariance(&problem, &plain, &predictions).total;
        let so_far = SoFar {
            x: &plain.x,
            covariance: &spread,
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
    x = plain.x;
    for &entry in &optional {
        problem.thaw(entry);
    }
    problem.set_eddy(true);
    for _ in 0..2 {
        x = solve(&problem, &x, 60, COARSE, CLOSE)?.x;
        reweigh(&mut problem, bench, &x);
    }
    let mut solution = solve(&problem, &x, 60, FINE, CLOSE)?;
    let mut decisions = terms::decide(&mut problem, &mut solution)?;
    let predictions = problem
        .predict(&solution.x)
        .ok_or_else(|| FitError::Start(describe(&guess)))?;
    remarks.extend(conflicts(&mut problem, &solution.x, &predictions)?);
    let covariance = covariance(&problem, &solution, &predictions);
    decisions.extend(terms::limited(&problem, &covariance));
    remarks.extend(warming::told(&problem, &solution.x, &predictions));
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
    out.problem.lift_bound();
    out.problem.settle(&out.solution.x, &out.predictions);
    if out.converged() {
        out.left_out = left_out(&out);
        if !out.doubts.contains(&Doubt::TenTimesOff) {
            let told = meters::contradictions(&out);
            out.remarks.extend(told);
        }
        out.profiles = reaches(&out);
    }
    Ok(out)
}

/// When a solve ends: relative size of the gradient, and distance from the minimum in standard deviations.
#[derive(Clone, Copy)]
pub(super) struct Tolerance {
    gradient: f64,
    distance: f64,
}

/// While weights still change.
pub(super) const COARSE: Tolerance = Tolerance {
    gradient: 1e-3,
    distance: 0.1,
};
/// For the result. Steps of the model that are halved on one side of a point only make the cost rough at about that scale: what
/// is asked for beyond it costs trials and gains nothing.
pub(super) const FINE: Tolerance = Tolerance {
    gradient: 3e-4,
    distance: 0.02,
};

/// First damping from a first guess, and from the minimum under other weights: there the problem is next to linear, and damping
/// only holds the step back along directions that gains and zeros make long.
const FAR: f64 = 1e-3;
pub(super) const CLOSE: f64 = 1e-8;

pub(super) fn solve(
    problem: &Problem,
    x: &DVector<f64>,
    iterations: u64,
    tolerance: Tolerance,
    damping: f64,
) -> Result<Solution, FitError> {
    let options = SolverOptions {
        max_iterations: iterations,
        gradient_tolerance: tolerance.gradient,
        distance_tolerance: tolerance.distance,
        loose_gradient_tolerance: tolerance.gradient,
        step_tolerance: 1e-8,
        cost_tolerance: 1e-7,
        initial_damping: damping,
    };
    let solution = minimise(problem, x, &options);
    if problem.exhausted() {
        return Err(FitError::GivenUp {
            steps_per_bin: problem.spent_per_bin(),
        });
    }
    let mut solution = solution?;
    // Steps that a discontinuity of the step control spoils, or perfect data, end without descent at a minimum.
    if !solution.reason.converged() && distance_to_minimum(&solution) < NEAR {
        solution.reason = StopReason::CostFlat;
    }
    Ok(solution)
}

/// Standard deviations from the minimum below which a fit that finds no descent counts as ended there.
const NEAR: f64 = 0.1;

/// `√(gᵀN⁻¹g)` over the entries that can move: how many standard deviations the minimum of the local paraboloid lies away.
fn distance_to_minimum(solution: &Solution) -> f64 {
    let free: Vec<usize> = (0..solution.x.len())
        .filter(|&k| !solution.active[k] && solution.equations.normal[(k, k)] > 0.0)
        .collect();
    let (inverse, _) = inverse_over(&solution.equations.normal, &free, 1e-12);
    let gradient = &solution.equations.gradient;
    gradient.dot(&(inverse * gradient)).sqrt()
}

/// What the waves that are followed leave of a back-EMF constant that is uneven over a turn, as a share of them: segments make
/// more waves than those, and after some turns none is followed. Common practice, no source; three quarters leave the time constants
/// of the simulated benches covered.
const UNEVENNESS_LEFT: f64 = 0.75;

/// Root mean square of the back-EMF constant's relative departure over a turn, as the waves have it; 0 where none is followed.
fn unevenness(problem: &Problem, x: &DVector<f64>) -> f64 {
    let mut captures = std::collections::BTreeSet::new();
    let mut square = 0.0;
    for (parameter, amplitude) in problem.layout.parameters.iter().zip(x.iter()) {
        if let Slot::Unevenness { capture, .. } = parameter.slot {
            captures.insert(capture);
            square += 0.5 * amplitude * amplitude;
        }
    }
    (square / captures.len().max(1) as f64).sqrt()
}

/// Sets every row's deviation from the residuals at `x`.
fn reweigh(problem: &mut Problem, bench: &Bench, x: &DVector<f64>) {
    let Some(predictions) = problem.predict(x) else {
        return;
    };
    let (scatters, share) = noise_of_rows(problem, bench, x, &predictions);
    for (k, scatter) in scatters.iter().enumerate() {
        problem.deviations[k] = deviations(&predictions[k].rows, scatter, share);
    }
    problem.lay_waves(&predictions);
}

/// The noise of every capture's rows, and the share of a voltage and of a current to which the model can be trusted.
pub(super) fn noise_of_rows(
    problem: &Problem,
    bench: &Bench,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> (Vec<Vec<Scatter>>, [f64; 2]) {
    let mut departures = Departures::default();
    let mut scatters = Vec::with_capacity(predictions.len());
    for (k, prediction) in predictions.iter().enumerate() {
        let residuals: Vec<f64> = prediction
            .rows
            .iter()
            .map(|r| r.predicted.value - r.recorded)
            .collect();
        let waveform = &bench.captures[k].waveform;
        let step = |t: &Option<crate::bench::Trace>| {
            t.as_ref().and_then(|t| t.quantisation_step).unwrap_or(0.0)
        };
        let quantisation = [step(&waveform.voltage_v), step(&waveform.current_a)];
        let legs = &problem.models[k].legs;
        let role = bench.captures[k].role;
        let scatter = scatter_of_residuals(&prediction.rows, &residuals, quantisation, |leg| {
            independent_rows(role, legs, leg)
        });
        departures.add(&prediction.rows, &residuals, &scatter);
        scatters.push(scatter);
    }
    let mut share = departures.share();
    let current = Quantity::Current as usize;
    share[current] = share[current].hypot(UNEVENNESS_LEFT * unevenness(problem, x));
    (scatters, share)
}

/// How many independent rows a leg is worth that lasts for a few turns at most, where the back-EMF's ripple and the unevenness
/// of the segments do not average out: a switched record, and what a brake shows before the short (common practice, no source).
pub(super) fn independent_rows(role: Role, legs: &[Leg], leg: usize) -> Option<f64> {
    match role {
        Role::Pwm | Role::PwmLocked => Some(20.0),
        Role::Brake if leg + 1 < legs.len() && legs[leg].kind == LegKind::Open => Some(2.0),
        Role::Brake if leg == 0 && legs[leg].kind == LegKind::Connected => Some(4.0),
        _ => None,
    }
}

fn describe(p: &TerminalParameters) -> String {
    format!(
        "R {:.3e} Ω, L {:.3e} H, J/K² {:.3e} F",
        p.terminal_resistance_ohm, p.armature_inductance_h, p.inertia_capacitance_f
    )
}

fn peak_current(legs: &[Vec<Leg>]) -> Option<f64> {
    legs.iter()
        .flatten()
        .filter(|l| l.kind == super::legs::LegKind::Connected)
        .flat_map(|l| &l.bins)
        .map(|b| b.current_a.abs())
        .filter(|i| i.is_finite())
        .reduce(f64::max)
        .filter(|&i| i > 0.0)
}

/// Largest voltage of any capture or of the stated supply, V.
fn largest_voltage(bench: &Bench) -> f64 {
    bench
        .captures
        .iter()
        .filter_map(|c| c.waveform.voltage_v.as_ref())
        .map(|t| lanes::largest(&t.values, |[v]| if v.is_finite() { v.abs() } else { 0.0 }))
        .chain(bench.motor.supply_v.map(f64::abs))
        .filter(|v| v.is_finite())
        .fold(0.0, f64::max)
}

/// False where captures show that the current rises between two samples and nothing else resolves it: no step with its rise, no
/// other change of the terminals sampled much faster, no inductance meter.
fn inductance_seen(bench: &Bench, timelines: &[Timeline]) -> bool {
    let missed = |t: &Timeline| t.doubts.contains(&Doubt::RiseBetweenSamples);
    let both = || bench.captures.iter().zip(timelines);
    let step_s = |c: &Capture| Some(c.waveform.time.at(1)? - c.waveform.time.at(0)?);
    let Some(coarse_s) = both()
        .filter(|(_, t)| missed(t))
        .filter_map(|(c, _)| step_s(c))
        .reduce(f64::min)
    else {
        return true;
    };
    let metered = bench
        .readings
        .iter()
        .any(|r| matches!(r, Reading::InductanceMeter { .. }));
    metered
        || both().any(|(c, t)| match c.role {
            Role::Start | Role::LockedRotor => {
                !missed(t) && t.instants.iter().any(|(name, _)| name == "make")
            }
            Role::Brake | Role::TurnOff | Role::Pwm | Role::PwmLocked => {
                step_s(c).is_some_and(|s| s < 0.25 * coarse_s)
            }
            Role::RunDown | Role::Steady | Role::Driven => false,
        })
}

/// Temperature of the capture that says it best; every other capture's resistance is brought to it.
fn reference_temperature(bench: &Bench) -> Option<(f64, f64)> {
    bench
        .captures
        .iter()
        .filter_map(|c| c.winding_temperature_c)
        .map(|t| (t.value, t.standard_uncertainty))
        .min_by(|a, b| a.1.total_cmp(&b.1))
}

/// Largest relative standard uncertainty that the sheet states for a time base.
fn clock(bench: &Bench) -> Option<f64> {
    let stated = bench.instruments.iter();
    stated
        .filter_map(|i| i.time_base_relative_uncertainty)
        .filter(|u| *u > 0.0)
        .reduce(f64::max)
}

/// The motor's own parameters with their priors.
fn shared_parameters(
    bench: &Bench,
    guess: &TerminalParameters,
    peak_a: f64,
    reference_temperature_c: Option<f64>,
    options: &FitOptions,
    layout: &mut Layout,
) -> Shared {
    use direction as d;
    let p = Parameter::free;
    let [fr, fl, fc] = options.guess_factors;
    let log = |slot, value: f64| p(slot, value.ln()).stepping(1.5);
    let no_load = (guess.friction_current_a / 0.7).max(1e-9);
    let emf = bench.motor.supply_v.unwrap_or(10.0).abs().max(1e-3);
    let bounded = |slot, start: f64, scale: f64| {
        p(slot, start)
            .within(0.0, f64::INFINITY)
            .stepping(3.0 * scale)
    };
    let model =
        |parameter: Parameter, mean: f64, sd: f64| parameter.with_prior(mean, sd, Source::Model);
    let entries = vec![
        (
            d::RESISTANCE,
            layout.add(log(Slot::LogResistance, guess.terminal_resistance_ohm * fr)),
        ),
        (
            d::INDUCTANCE,
            layout.add(log(Slot::LogInductance, guess.armature_inductance_h * fl)),
        ),
        (
            d::CAPACITANCE,
            layout.add(log(Slot::LogCapacitance, guess.inertia_capacitance_f * fc)),
        ),
        (
            d::FRICTION,
            layout.add(bounded(
                Slot::FrictionCurrent,
                guess.friction_current_a,
                no_load,
            )),
        ),
        (
            d::VISCOUS,
            layout.add(bounded(
                Slot::ViscousConductance,
                guess.viscous_conductance_s,
                no_load / emf,
            )),
        ),
        (
            d::WINDAGE,
            layout.add(bounded(Slot::Windage, 0.0, no_load / (emf * emf))),
        ),
        (
            d::BRUSH_DROP,
            layout.add(bounded(Slot::BrushDrop, guess.brush_drop_v, 0.1 * emf)),
        ),
        // The current at which the contact drop flattens: some 0.4 of the no-load current, within a factor of two.
        (d::BRUSH_SCALE, {
            let start = guess.brush_scale_a.ln();
            layout.add(model(
                p(Slot::LogBrushScale, start).stepping(0.7),
                start,
                0.7,
            ))
        }),
        // Saturation and armature reaction at the largest current seen: half the inductance, a few per cent of flux.
        (
            d::SATURATION,
            layout.add(model(
                bounded(Slot::Saturation, 0.0, 0.2 / (peak_a * peak_a)),
                0.0,
                0.5 / (peak_a * peak_a),
            )),
        ),
        (
            d::REACTION,
            layout.add(model(
                bounded(Slot::Reaction, 0.0, 0.02 / peak_a),
                0.0,
                0.025 / peak_a,
            )),
        ),
        (
            d::EDDY_SHARE,
            layout.add(model(
                p(Slot::EddyShare, LEAST_SHARE)
                    .within(LEAST_SHARE, 0.8)
                    .stepping(0.2),
                0.0,
                0.15,
            )),
        ),
        (d::EDDY_RESISTANCE, {
            let start = (3.0 * guess.terminal_resistance_ohm * fr).ln();
            layout.add(model(
                p(Slot::LogEddyResistance, start).stepping(0.7),
                start,
                0.7,
            ))
        }),
    ];
    Shared {
        entries,
        reference_temperature_c,
        with_eddy: true,
        position_sd: position_sd(bench),
        resistance_guess_ohm: guess.terminal_resistance_ohm,
        turn_v_s: None,
    }
}

/// Spread of the resistance over rotor positions, from the ohmmeter where several positions were read.
pub(super) fn position_sd(bench: &Bench) -> f64 {
    bench
        .readings
        .iter()
        .find_map(|r| match r {
            Reading::Ohmmeter { readings_ohm, .. } if readings_ohm.len() >= 3 => {
                let n = readings_ohm.len() as f64;
                let mean = readings_ohm.iter().sum::<f64>() / n;
                Some(
                    (readings_ohm.iter().map(|r| (r - mean).powi(2)).sum::<f64>() / (n - 1.0))
                        .sqrt()
                        / mean,
                )
            }
            _ => None,
        })
        .map_or(POSITION_SD, |sd| sd.clamp(0.01, 0.03))
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
