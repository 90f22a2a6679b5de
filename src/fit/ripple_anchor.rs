//! The back-EMF constant from the commutation ripple of a run-down, as a term of the joint fit.

use super::capture_model::{CaptureModel, direction};
use super::layout::{Layout, Parameter, Slot};
use super::legs::{Leg, LegKind};
use super::readings::ReadingTerm;
use crate::bench::{Bench, Capture, Role};
use crate::ripple::{RippleOptions, RippleResult, analyse_run_down_at};

/// Probability that a candidate's constant must have to be used.
const SETTLED: f64 = 0.95;

/// What the ripple of one capture said.
#[derive(Clone, Debug)]
pub struct RippleFinding {
    /// Index of the capture in the bench.
    pub capture: usize,
    pub result: RippleResult,
    /// Whether its constant entered the fit.
    pub used: bool,
}

/// Reads the ripple of every run-down, adds a term for each that settles the constant, and tells the rest in words.
pub fn ripple_anchors(
    bench: &Bench,
    legs: &[Vec<Leg>],
    models: &[CaptureModel],
    layout: &mut Layout,
) -> (Vec<ReadingTerm>, Vec<RippleFinding>, Vec<String>) {
    let (mut terms, mut findings, mut remarks) = (Vec::new(), Vec::new(), Vec::new());
    for (index, capture) in bench.captures.iter().enumerate() {
        if capture.role != Role::RunDown || capture.ac_coupled {
            continue;
        }
        let Some((time_s, voltage_v, options)) = open_stretch(bench, capture, &legs[index]) else {
            continue;
        };
        let result = match analyse_run_down_at(&time_s, &voltage_v, &options) {
            Ok(result) => result,
            Err(why) => {
                remarks.push(format!(
                    "{}: its ripple tells no speed: {why}",
                    capture.name
                ));
                continue;
            }
        };
        remarks.extend(
            result
                .remarks
                .iter()
                .map(|r| format!("{}: {r}", capture.name)),
        );
        let settled = result.settled(SETTLED).cloned();
        if let Some(candidate) = &settled {
            let k = candidate.back_emf_constant_v_s_per_rad;
            let constant =
                layout.add(Parameter::free(Slot::LogBackEmfConstant, k.ln()).stepping(1.0));
            terms.push(ReadingTerm::Constant {
                v_s_per_rad: k,
                relative_sd: (candidate.standard_uncertainty / k).max(1e-5),
                constant,
                gain: models[index].links[direction::VOLTAGE_GAIN].clone(),
            });
        }
        findings.push(RippleFinding {
            capture: index,
            result,
            used: settled.is_some(),
        });
    }
    (terms, findings, remarks)
}

/// The longest open stretch of a capture, its zero taken off, with what the bench knows of the channel.
fn open_stretch(
    bench: &Bench,
    capture: &Capture,
    legs: &[Leg],
) -> Option<(Vec<f64>, Vec<f64>, RippleOptions)> {
    let trace = capture.waveform.voltage_v.as_ref()?;
    let open = legs
        .iter()
        .filter(|l| l.kind == LegKind::Open)
        .max_by_key(|l| l.rows.1 - l.rows.0)?;
    let rest: Vec<f64> = legs
        .iter()
        .filter(|l| l.kind == LegKind::Rest)
        .flat_map(|l| trace.values[l.rows.0..l.rows.1].iter().copied())
        .filter(|v| v.is_finite())
        .collect();
    let zero = if rest.is_empty() {
        0.0
    } else {
        rest.iter().sum::<f64>() / rest.len() as f64
    };
    let time_s: Option<Vec<f64>> = (open.rows.0..open.rows.1)
        .map(|k| capture.waveform.time.at(k))
        .collect();
    // A reversed channel slows towards zero from below.
    let sign = open
        .bins
        .first()
        .map_or(1.0, |b| if b.voltage_v < zero { -1.0 } else { 1.0 });
    let voltage_v = trace.values[open.rows.0..open.rows.1]
        .iter()
        .map(|v| sign * (v - zero))
        .collect();
    let stated = capture.voltage_chain.as_ref().map(|c| c.zero_uncertainty);
    let step = trace.quantisation_step.unwrap_or(0.0);
    let options = RippleOptions {
        segments: bench.motor.commutator_segments,
        zero_offset_standard_uncertainty: if rest.is_empty() {
            stated
        } else {
            Some((0.1 * step).max(1e-6))
        },
        quantisation_step: trace.quantisation_step,
        clipped: Some(trace.clipped[open.rows.0..open.rows.1].to_vec()),
        ..RippleOptions::default()
    };
    Some((time_s?, voltage_v, options))
}
