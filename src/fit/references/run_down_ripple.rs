//! The back-EMF constant from the commutation ripple of a run-down, as a term of the joint fit.

use super::constant_ratio::Ratio;
use super::preliminary_fit::SoFar;
use super::readings::ReadingTerm;
use crate::bench::{Bench, Role};
use crate::events::{Timeline, open_stretch};
use crate::fit::model::{CaptureModel, direction};
use crate::fit::unknowns::{Layout, Parameter, Slot};
use crate::ripple::{
    Candidate, RELATIVE_TO_GAIN, RippleOptions, RippleResult, USUAL_POLES, analyse_run_down_at,
    cycles_per_revolution,
};

/// Probability that a candidate's constant must have to be used.
const SETTLED: f64 = 0.95;

/// Probability of a constant from which its ripple leaves it open (common practice, no source).
const OPEN: f64 = 0.01;

/// What the ripple of one capture said.
#[derive(Clone, Debug)]
pub struct RippleFinding {
    /// Index of the capture in the bench.
    pub capture: usize,
    pub result: RippleResult,
    /// Index of the candidate whose constant entered the fit.
    pub taken: Option<usize>,
}

impl RippleFinding {
    /// The candidate whose constant entered the fit.
    pub fn candidate(&self) -> Option<&Candidate> {
        self.result.candidates.get(self.taken?)
    }
}

/// Ripple of every run-down, and for those that cannot be read the capture and why.
pub fn read_ripple(
    bench: &Bench,
    timelines: &[Timeline],
) -> (Vec<RippleFinding>, Vec<(usize, String)>) {
    let (mut findings, mut unread) = (Vec::new(), Vec::new());
    for (index, capture) in bench.captures.iter().enumerate() {
        if capture.role != Role::RunDown || capture.ac_coupled {
            continue;
        }
        let Some(stretch) = open_stretch(&capture.waveform, &timelines[index]) else {
            continue;
        };
        let zero = capture.voltage_chain.as_ref().map(|c| c.zero_uncertainty);
        let options = RippleOptions::for_stretch(&stretch, bench.motor.commutator_segments, zero);
        match analyse_run_down_at(&stretch.time_s, &stretch.voltage_v, &options) {
            Ok(result) => {
                let taken = result.settled(SETTLED).map(|_| 0);
                findings.push(RippleFinding {
                    capture: index,
                    result,
                    taken,
                });
            }
            Err(why) => unread.push((index, format!("its ripple tells no speed: {why}"))),
        }
    }
    (findings, unread)
}

/// What the ripple of the run-downs says in words. `anchored`: whether what was taken of it agrees with other speed anchors.
pub fn ripple_words(
    bench: &Bench,
    findings: &[RippleFinding],
    unread: &[(usize, String)],
    anchored: bool,
) -> Vec<String> {
    let mut told: Vec<(usize, String)> = unread.to_vec();
    for finding in findings {
        // The fit carries the channel's gain itself.
        let remarks = finding.result.remarks.iter();
        let remarks = remarks.filter(|r| r.as_str() != RELATIVE_TO_GAIN);
        told.extend(remarks.map(|r| (finding.capture, r.clone())));
        let candidate = finding.candidate().filter(|_| anchored);
        let stated = bench.motor.commutator_segments;
        let on_count = stated.and_then(|s| finding.result.on_stated_count(s, candidate));
        told.extend(on_count.map(|r| (finding.capture, r)));
    }
    told.sort_by_key(|(capture, _)| *capture);
    let name = |capture: usize| &bench.captures[capture].name;
    told.iter()
        .map(|(capture, text)| format!("{}: {text}", name(*capture)))
        .collect()
}

/// A term for each run-down whose ripple settles the constant.
pub fn ripple_anchors(
    findings: &[RippleFinding],
    models: &[CaptureModel],
    layout: &mut Layout,
) -> Vec<ReadingTerm> {
    findings
        .iter()
        .filter_map(|finding| {
            let candidate = finding.result.settled(SETTLED)?;
            Some(term(candidate, finding.capture, models, layout))
        })
        .collect()
}

/// Sigmas within which a candidate agrees with what else is known of the constant.
pub const AGREES: f64 = 4.0;

/// As [`ripple_anchors`], where something else already tells the constant: a comb allows several segment counts, and the one
/// that agrees is taken; ripple that contradicts it altogether is told and not used. `constant`: entry of its logarithm; `stated_segments`: the count of the sheet,
/// which is told where it contradicts.
pub fn ripple_anchors_beside(
    findings: &mut [RippleFinding],
    constant: usize,
    so_far: &SoFar<'_>,
    stated_segments: Option<u32>,
    models: &[CaptureModel],
    layout: &mut Layout,
) -> (Vec<ReadingTerm>, Vec<String>) {
    let (mut terms, mut remarks) = (Vec::new(), Vec::new());
    for finding in findings {
        let Some(first) = finding.result.candidates.first() else {
            continue;
        };
        // The constant as this capture's voltage channel shows it, its gain included.
        let mut seen = models[finding.capture].links[direction::VOLTAGE_GAIN].clone();
        seen.push((constant, 1.0));
        let log_constant: f64 = seen.iter().map(|&(k, factor)| factor * so_far.x[k]).sum();
        let spread = so_far.variance(&seen).sqrt().hypot(so_far.voltage_share);
        let sigmas = |c: &Candidate| {
            let k = c.back_emf_constant_v_s_per_rad;
            let relative = c.standard_uncertainty / k;
            (k.ln() - log_constant) / spread.hypot(relative).max(1e-3)
        };
        let agreeing = finding
            .result
            .candidates
            .iter()
            .enumerate()
            .find(|(_, c)| sigmas(c).abs() < AGREES);
        let name = &models[finding.capture].name;
        let settled = finding.result.settled(SETTLED).map(|_| first);
        // What somebody counted is held against the anchors too, settled or not.
        let stated_cycles = stated_segments.and_then(|s| cycles_per_revolution(s, USUAL_POLES));
        let counted = stated_cycles.and_then(|n| {
            let mut read_so = finding.result.candidates.iter();
            read_so.find(|c| c.cycles_per_revolution == n)
        });
        // Where the count also makes the constant that agrees, with another line for the strongest, nobody miscounted.
        let stands = agreeing.is_some_and(|(_, c)| {
            stated_cycles == Some(c.cycles_per_revolution) && c.constant_probability > OPEN
        });
        let counted = counted.filter(|_| finding.result.fit_settled && !stands);
        let claimed = settled.or(counted);
        let claim = |c: &Candidate| {
            let k = c.back_emf_constant_v_s_per_rad;
            let ratio = Ratio {
                of_constants: (k.ln() - log_constant).exp(),
                relative_sd: spread.hypot(c.standard_uncertainty / k),
                cycles_per_revolution: Some(c.cycles_per_revolution),
            };
            let words = ratio.words("K from this ripple", "K from the other anchors");
            let told = words.map_or_else(String::new, |words| format!(". {words}"));
            (
                format!(
                    "{name}: its ripple with {} segments would make K {k:.4} V·s/rad, {:+.1} sigma from what the other speed anchors say",
                    c.segments,
                    sigmas(c)
                ),
                told,
            )
        };
        let differs = |c: &Candidate| claimed.filter(|d| sigmas(d).abs() > AGREES && *d != c);
        finding.taken = match agreeing {
            // Unsettled on its own, but of its counts only one agrees.
            Some((index, c)) if finding.result.fit_settled && c.constant_probability > 1e-6 => {
                if let Some((head, ratio)) = differs(c).map(claim) {
                    remarks.push(format!(
                        "{head}; {} segments agree with them and are taken{ratio}",
                        c.segments
                    ));
                } else if let Some(stated) = stated_segments
                    && !agreeing_segments(&finding.result.candidates, c).contains(&stated)
                {
                    remarks.push(format!(
                        "{name}: with the stated {stated} segments its ripple contradicts the other speed anchors; with {} it agrees with them, and these are taken. \
                         Count the commutator's segments again; everything else stands",
                        c.segments
                    ));
                }
                terms.push(term(c, finding.capture, models, layout));
                Some(index)
            }
            _ => {
                if let Some((head, ratio)) = claimed.map(claim) {
                    remarks.push(format!(
                        "{head}, and no segment count mends it; it is not used, and the back-EMF constant should not be trusted until the conflict is settled. Check the tachometer's marks, the inertia or torque added, and the probe's ratio{ratio}"
                    ));
                }
                None
            }
        };
    }
    (terms, remarks)
}

/// Segment counts that give the same constant as `chosen`.
fn agreeing_segments(candidates: &[Candidate], chosen: &Candidate) -> Vec<u32> {
    let k = chosen.back_emf_constant_v_s_per_rad;
    let same = candidates
        .iter()
        .filter(|c| (c.back_emf_constant_v_s_per_rad / k - 1.0).abs() < 1e-6);
    same.map(|c| c.segments).collect()
}

fn term(
    candidate: &Candidate,
    capture: usize,
    models: &[CaptureModel],
    layout: &mut Layout,
) -> ReadingTerm {
    let k = candidate.back_emf_constant_v_s_per_rad;
    let constant = layout.add(Parameter::free(Slot::LogBackEmfConstant, k.ln()).stepping(1.0));
    ReadingTerm::Constant {
        v_s_per_rad: k,
        relative_sd: (candidate.standard_uncertainty / k).max(1e-5),
        constant,
        shift: models[capture].links[direction::VOLTAGE_GAIN].clone(),
        model: capture,
        cycles_per_revolution: Some(candidate.cycles_per_revolution),
    }
}

/// Volt-seconds of back-EMF in one turn, or in a whole number of them: of the candidates that are not out of the question
/// the largest, whose turn is a multiple of the others' more often than not.
pub fn turn_volt_seconds(findings: &[RippleFinding]) -> Option<f64> {
    let best = findings
        .iter()
        .max_by(|a, b| strength(a).total_cmp(&strength(b)))?;
    let constant = best
        .result
        .candidates
        .iter()
        .filter(|c| c.constant_probability > 0.05)
        .map(|c| c.back_emf_constant_v_s_per_rad)
        .reduce(f64::max)?;
    Some(std::f64::consts::TAU * constant)
}

fn strength(finding: &RippleFinding) -> f64 {
    finding
        .result
        .candidates
        .first()
        .map_or(0.0, |c| c.constant_probability)
}
