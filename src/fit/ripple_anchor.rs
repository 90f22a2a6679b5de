//! The back-EMF constant from the commutation ripple of a run-down, as a term of the joint fit.

use super::capture_model::{CaptureModel, direction};
use super::layout::{Layout, Parameter, Slot};
use super::readings::ReadingTerm;
use crate::bench::{Bench, Role};
use crate::events::{Timeline, open_stretch};
use crate::ripple::{RELATIVE_TO_GAIN, RippleOptions, RippleResult, analyse_run_down_at};

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
    timelines: &[Timeline],
    models: &[CaptureModel],
    layout: &mut Layout,
) -> (Vec<ReadingTerm>, Vec<RippleFinding>, Vec<String>) {
    let (mut terms, mut findings, mut remarks) = (Vec::new(), Vec::new(), Vec::new());
    for (index, capture) in bench.captures.iter().enumerate() {
        if capture.role != Role::RunDown || capture.ac_coupled {
            continue;
        }
        let Some(stretch) = open_stretch(&capture.waveform, &timelines[index]) else {
            continue;
        };
        let zero = capture.voltage_chain.as_ref().map(|c| c.zero_uncertainty);
        let options = RippleOptions::for_stretch(&stretch, bench.motor.commutator_segments, zero);
        let result = match analyse_run_down_at(&stretch.time_s, &stretch.voltage_v, &options) {
            Ok(result) => result,
            Err(why) => {
                remarks.push(format!(
                    "{}: its ripple tells no speed: {why}",
                    capture.name
                ));
                continue;
            }
        };
        // The fit carries the channel's gain itself.
        let told = result
            .remarks
            .iter()
            .filter(|r| r.as_str() != RELATIVE_TO_GAIN);
        remarks.extend(told.map(|r| format!("{}: {r}", capture.name)));
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
