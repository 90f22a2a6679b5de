//! Speeds from the ripple of currents, as terms of the joint fit.
//!
//! With N ripple cycles a revolution the frequency f (Hz) of a current's ripple gives the speed `ω = 2πf/N` (rad/s) at an instant of
//! a capture in which the model has the back-EMF e (V) too, so that `ln K + ln ω = ln |e|`: an anchor of K that opens no terminals.
//!
//! N is shared with the run-down's ripple, or one that the counted segments allow and with which the speed agrees with the other references, or it is not used; so beside N these anchors have no error in common with it but
//! the sampling clock's. What the model's e leaves out is common to all captures of steady running (uneven converter codes, drop over the
//! brushes); their number therefore does not shrink it.
//!
//! Aliased ripple is never used: at a steady speed only its foreseen place would identify it, which is no measurement.

use super::super::reading_term::ReadingTerm;
use super::super::speeds::SpeedTerm;
use super::super::voltage::{level_uncertainty, voltage_balance};
use super::run_down::RippleFinding;
use super::run_down_references::AGREES;
use crate::bench::{Bench, Capture};
use crate::events::{CurrentStretch, Motion, Timeline, current_stretches};
use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::joint::preliminary_fit::PreliminaryFit;
use crate::fit::problem::Problem;
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::fit::wording::{Contradiction, Remark, RemarkKind};
use crate::ripple::{Counted, RippleOptions, SpeedAnchor, speed_in_current};
use nalgebra::DVector;
use rayon::prelude::*;
use std::f64::consts::TAU;

/// Relative standard uncertainty of the model's back-EMF at an instant beside that of its parameters, in steady running and while
/// the speed changes (common practice, no source).
const STEADY_SHARE: f64 = 5e-4;
const CHANGING_SHARE: f64 = 5e-3;

/// Relative standard uncertainty of K above which agreeing with a count that only the sheet gives means nothing.
const VAGUE: f64 = 0.03;

/// Turns that a stretch must hold. In less, the lines that uneven segments put once a turn beside the ripple's cannot be separated from it, and pull
/// it by up to their distance: 3 ms at 13 segments, a third of a turn, gave a speed 2.8 % too low with a standard uncertainty of 0.3 %.
const LEAST_TURNS: f64 = 1.0;

/// A speed that the ripple of a current gave and that entered the fit.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct CurrentSpeed {
    /// Index of the capture in the bench.
    pub capture: usize,
    /// How the speed changes there.
    pub motion: Motion,
    /// The speed and its instant.
    pub anchor: SpeedAnchor,
}

impl CurrentSpeed {
    /// As a remark.
    pub fn remark(&self, bench: &Bench) -> Remark {
        let anchor = &self.anchor;
        let kind = RemarkKind::CurrentSpeed {
            motion: self.motion.to_string(),
            cycles_per_revolution: anchor.cycles_per_revolution,
            speed_rad_s: [
                anchor.speed_rad_per_s,
                anchor.standard_uncertainty_rad_per_s,
            ],
            time_s: anchor.time_s,
        };
        kind.about(bench.captures.get(self.capture).map_or("", |c| &c.name))
    }
}

/// What the currents add.
#[derive(Default)]
pub struct CurrentReferences {
    pub terms: Vec<ReadingTerm>,
    /// Of each term.
    pub speeds: Vec<CurrentSpeed>,
    /// Doubts.
    pub remarks: Vec<Remark>,
    /// Speeds that contradict the other references, with which the fit goes without.
    pub confrontations: Vec<Confrontation>,
    /// ln of the constants that those in conflict make, with their standard uncertainties.
    pub constants: Vec<(f64, f64)>,
}

/// What the ripple of one stretch of current gives.
enum FromStretch {
    /// With the share to which the model's back-EMF there is known.
    Speed(CurrentSpeed, f64),
    /// With the share of the stretch in which it is.
    Aliased(Motion, f64),
}

/// Terms of the currents whose ripple gives a speed, and remarks. Adds the instants to the captures' probes.
///
/// Nothing without a number of cycles a revolution: that of a run-down's ripple which entered the fit, else of those that the sheet's counts allow
/// the first whose speeds agree with what is known otherwise. A line where one of them is expected is a harmonic of the turn in any case.
pub fn current_references(
    bench: &Bench,
    timelines: &[Timeline],
    ripple: &[RippleFinding],
    problem: &mut Problem,
    preliminary: &PreliminaryFit<'_>,
) -> CurrentReferences {
    let Some(constant) = problem.layout.find(&ParameterKind::LogBackEmfConstant) else {
        return CurrentReferences::default();
    };
    let constant_sd = preliminary.covariance[constant.diagonal()].max(0.0).sqrt();
    let by_ripple = counted(ripple);
    let allowed = match by_ripple {
        Some(cycles) => vec![cycles],
        None if constant_sd < VAGUE => Counted::of(&bench.motor).cycles(),
        None => Vec::new(),
    };
    let mut disagree = None;
    for cycles in allowed {
        let reader = Reader {
            bench,
            problem,
            x: preliminary.x,
            constant_sd,
            cycles,
        };
        let found = reader.read_all(timelines);
        let out = beside_others(found, constant, problem, preliminary, by_ripple.is_some());
        if !out.terms.is_empty() {
            return out;
        }
        disagree.get_or_insert(out);
    }
    disagree.unwrap_or_default()
}

/// The speeds that agree with the other references as terms, the others as confrontations.
fn beside_others(
    found: Vec<(usize, FromStretch)>,
    constant: Entry,
    problem: &mut Problem,
    preliminary: &PreliminaryFit<'_>,
    by_ripple: bool,
) -> CurrentReferences {
    let mut out = CurrentReferences::default();
    let asked = ask_for_speeds(found, constant, problem, &mut out.remarks);
    let Some(predictions) = problem.predict(preliminary.x) else {
        return out;
    };
    for (speed, term) in asked {
        // Where the model does not follow the current there is no back-EMF to compare with.
        let Some(at) = term.evaluate(preliminary.x, &predictions) else {
            continue;
        };
        let spread = preliminary.variance(&at.gradient);
        let sigmas = at.residual / (1.0 + spread).sqrt();
        if sigmas.abs() < AGREES {
            out.terms.push(term);
            out.speeds.push(speed);
        } else {
            let name = &problem.models[speed.capture].name;
            let line = contradiction(name, &speed, &term, at.residual, sigmas, by_ripple);
            if line.in_conflict() {
                let sd = term.relative_sd();
                let log_constant = preliminary.x[constant] - at.residual * sd;
                out.constants
                    .push((log_constant, sd * (1.0 + spread).sqrt()));
            }
            out.confrontations.push(line);
        }
    }
    out
}

/// Reads the ripple of currents with what the fit says so far.
struct Reader<'a> {
    bench: &'a Bench,
    problem: &'a Problem,
    x: &'a DVector<f64>,
    /// Relative standard uncertainty of K.
    constant_sd: f64,
    /// Ripple cycles a revolution.
    cycles: u32,
}

impl Reader<'_> {
    /// What every stretch of every capture (index) gives.
    fn read_all(&self, timelines: &[Timeline]) -> Vec<(usize, FromStretch)> {
        let captures = self.bench.captures.par_iter().zip(timelines);
        captures
            .enumerate()
            .flat_map_iter(|(k, (capture, timeline))| {
                current_stretches(&capture.waveform, timeline, capture.role)
                    .into_iter()
                    .filter_map(move |stretch| Some((k, self.read(k, &stretch)?)))
            })
            .collect()
    }

    /// What one stretch of capture `k` gives; `None` where its ripple gives nothing.
    fn read(&self, k: usize, stretch: &CurrentStretch) -> Option<FromStretch> {
        let foreseen = voltage_balance(
            self.bench,
            self.problem,
            self.x,
            k,
            stretch,
            self.constant_sd,
        )?;
        let emf = &foreseen.back_emf_v;
        let mean_emf =
            emf.iter().filter(|e| e.is_finite()).sum::<f64>().abs() / emf.len().max(1) as f64;
        let options = RippleOptions::default();
        let found = speed_in_current(stretch, Some(&foreseen), Some(self.cycles), &options).ok()?;
        let anchor = found.sharpest(self.cycles)?;
        let lasts_s = stretch.time_s.last()? - stretch.time_s.first()?;
        if anchor.speed_rad_per_s.abs() * lasts_s < LEAST_TURNS * TAU {
            return None;
        }
        if found.aliased_share > 0.0 {
            return Some(FromStretch::Aliased(stretch.motion, found.aliased_share));
        }
        let speed = CurrentSpeed {
            capture: k,
            motion: stretch.motion,
            anchor,
        };
        let doubt = doubt(
            self.bench,
            &self.bench.captures[k],
            stretch,
            mean_emf,
            self.problem,
            self.x,
        );
        Some(FromStretch::Speed(speed, doubt))
    }
}

/// A term for each speed, with its instant among the probes of its capture.
fn ask_for_speeds(
    found: Vec<(usize, FromStretch)>,
    constant: Entry,
    problem: &mut Problem,
    remarks: &mut Vec<Remark>,
) -> Vec<(CurrentSpeed, ReadingTerm)> {
    let is_steady = |s: &CurrentSpeed| s.motion == Motion::Steady;
    let steady = found
        .iter()
        .filter(|(_, f)| matches!(f, FromStretch::Speed(s, _) if is_steady(s)))
        .count();
    let mut asked = Vec::new();
    for (k, from_stretch) in found {
        let model = &mut problem.models[k];
        match from_stretch {
            FromStretch::Aliased(motion, share) => {
                let motion = motion.to_string();
                let kind = RemarkKind::CurrentRippleAliased { motion, share };
                remarks.push(kind.about(&model.name));
            }
            FromStretch::Speed(speed, doubt) => {
                model.probes.push(speed.anchor.time_s);
                // What the model leaves out is common to all steady stretches.
                let shared = if is_steady(&speed) {
                    doubt * (steady as f64).sqrt()
                } else {
                    doubt
                };
                let rad_s = speed.anchor.speed_rad_per_s;
                let relative = speed.anchor.standard_uncertainty_rad_per_s / rad_s;
                let term = SpeedTerm {
                    rad_s,
                    relative_sd: relative.hypot(shared),
                    constant,
                    model: k,
                    probe: Some(model.probes.len() - 1),
                    shared: None,
                };
                asked.push((speed, ReadingTerm::Speed(term)));
            }
        }
    }
    problem.forget();
    asked
}

/// Cycles a revolution of the run-downs' ripple that entered the fit; `None` where two of them say different things.
fn counted(ripple: &[RippleFinding]) -> Option<u32> {
    let mut all = ripple
        .iter()
        .filter_map(RippleFinding::candidate)
        .map(|c| c.cycles_per_revolution);
    let first = all.next()?;
    all.all(|n| n == first).then_some(first)
}

/// Relative standard uncertainty of the back-EMF in a stretch that no parameter of the fit stands for: uneven and undithered converter
/// codes of both channels, the sampling clock, and what the model leaves out.
fn doubt(
    bench: &Bench,
    capture: &Capture,
    stretch: &CurrentStretch,
    emf_v: f64,
    problem: &Problem,
    x: &DVector<f64>,
) -> f64 {
    let resistance = problem
        .layout
        .find(&ParameterKind::LogResistance)
        .map_or(0.0, |entry| x[entry].exp());
    let voltage_step = capture
        .waveform
        .voltage_v
        .as_ref()
        .and_then(|t| t.quantisation_step);
    let voltage = voltage_step
        .zip(stretch.voltage_v.as_ref())
        .map_or(0.0, |(step, values)| level_uncertainty(values, step));
    let current = stretch
        .quantisation_step_a
        .map_or(0.0, |step| level_uncertainty(&stretch.current_a, step));
    let clock = capture
        .current_chain
        .iter()
        .flat_map(|chain| &chain.instruments)
        .filter_map(|&k| bench.instruments.get(k)?.time_base_relative_uncertainty)
        .fold(0.0, f64::max);
    let model = match stretch.motion {
        Motion::Steady => STEADY_SHARE,
        Motion::Rising | Motion::Falling => CHANGING_SHARE,
    };
    (voltage / emf_v)
        .hypot(resistance * current / emf_v)
        .hypot(clock)
        .hypot(model)
}

fn contradiction(
    name: &str,
    speed: &CurrentSpeed,
    term: &ReadingTerm,
    residual: f64,
    sigmas: f64,
    by_ripple: bool,
) -> Confrontation {
    let rad_s = speed.anchor.speed_rad_per_s;
    let model = rad_s * (-residual * term.relative_sd()).exp();
    let line = Confrontation::with_deviation(
        EvidenceKind::SpeedReference,
        format!("ripple of current ({name})"),
        sigmas,
        || Contradiction::RippleOfCurrent {
            capture: name.to_owned(),
            motion: speed.motion.to_string(),
            cycles_per_revolution: speed.anchor.cycles_per_revolution,
            counted_only: !by_ripple,
            speed_rad_s: rad_s,
            others_rad_s: model,
            deviation: sigmas,
        },
    );
    line.with_values(rad_s, Some(model), None, "rad/s")
}
