//! The back-EMF constant from the commutation ripple of a run-down, as a term of the joint fit.

use super::super::reading_term::ReadingTerm;
use super::super::speeds::{ConstantTerm, constant_entry};
use crate::bench::{Bench, Capture, Role};
use crate::events::{Timeline, open_stretch};
use crate::fit::joint::memory::RippleMemory;
use crate::fit::model::CaptureModel;
use crate::fit::unknowns::{Direction, Layout};
use crate::fit::wording::{Remark, RemarkKind};
use crate::ripple::{
    Candidate, Counted, RippleOptions, RippleResult, RunDownRemark, analyse_run_down,
};
use rayon::prelude::*;

/// Probability that a candidate's constant must have to be used where nothing else speaks for it: odds of 39 to 1.
pub const SETTLED: f64 = 0.975;

/// What the ripple of one capture said.
#[derive(Clone, Debug)]
pub struct RippleFinding {
    /// Index of the capture in the bench.
    pub capture: usize,
    /// Its candidates and lines.
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
    memory: &RippleMemory,
) -> (Vec<RippleFinding>, Vec<(usize, RemarkKind)>) {
    let counted = Counted::of(&bench.motor);
    let read = |(index, capture): (usize, &Capture)| {
        if capture.role != Role::RunDown || capture.ac_coupled {
            return None;
        }
        let stretch = open_stretch(&capture.waveform, &timelines[index])?;
        let zero = capture.voltage_chain.as_ref().map(|c| c.zero_uncertainty);
        let options = RippleOptions::for_stretch(&stretch, counted, zero);
        let analyse = || analyse_run_down(&stretch.time_s, &stretch.voltage_v, &options);
        let analysis = memory.run_down(capture, &timelines[index], counted, analyse);
        Some((index, analysis))
    };
    let captures = bench.captures.par_iter().enumerate();
    let analyses: Vec<_> = captures.filter_map(read).collect();
    let (mut findings, mut unread) = (Vec::new(), Vec::new());
    for (index, analysis) in analyses {
        match analysis {
            Ok(result) => {
                let taken = result.settled(SETTLED).map(|_| 0);
                findings.push(RippleFinding {
                    capture: index,
                    result,
                    taken,
                });
            }
            Err(why) => {
                let why = why.to_string();
                unread.push((index, RemarkKind::RippleUnreadable { why }));
            }
        }
    }
    memory.end_turn();
    (findings, unread)
}

/// What the ripple of the run-downs says. `anchored`: whether what was taken of it agrees with other speed references.
pub fn ripple_remarks(
    bench: &Bench,
    findings: &[RippleFinding],
    unread: &[(usize, RemarkKind)],
    anchored: bool,
) -> Vec<Remark> {
    let mut remarks: Vec<(usize, RemarkKind)> = unread.to_vec();
    for finding in findings {
        // The fit carries the channel's gain itself.
        let of_result = finding.result.remarks.iter().cloned();
        let of_result = of_result.filter(|r| !matches!(r, RunDownRemark::RelativeToGain));
        remarks.extend(of_result.map(|r| (finding.capture, RemarkKind::RunDown(r))));
        let candidate = finding.candidate().filter(|_| anchored);
        let on_count = finding
            .result
            .stated_count(Counted::of(&bench.motor), candidate);
        remarks.extend(on_count.map(|r| (finding.capture, RemarkKind::SegmentCount(r))));
    }
    remarks.sort_by_key(|(capture, _)| *capture);
    let named = |(capture, kind): (usize, RemarkKind)| kind.about(&bench.captures[capture].name);
    remarks.into_iter().map(named).collect()
}

/// The constant of a candidate as a term.
pub fn constant_term(
    candidate: &Candidate,
    capture: usize,
    models: &[CaptureModel],
    layout: &mut Layout,
) -> ReadingTerm {
    let k = candidate.back_emf_constant_v_s_per_rad;
    ReadingTerm::Constant(ConstantTerm {
        v_s_per_rad: k,
        relative_sd: (candidate.standard_uncertainty / k).max(1e-5),
        constant: constant_entry(layout, k),
        shift: models[capture].links[Direction::VOLTAGE_GAIN].clone(),
        model: capture,
        cycles_per_revolution: Some(candidate.cycles_per_revolution),
    })
}

/// The constant of the first run-down whose ripple entered the fit, V·s/rad.
pub fn settled_constant(findings: &[RippleFinding]) -> Option<f64> {
    let mut taken = findings.iter().filter_map(RippleFinding::candidate);
    taken.next().map(|c| c.back_emf_constant_v_s_per_rad)
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
