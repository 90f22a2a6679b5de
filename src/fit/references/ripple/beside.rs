//! The ripple of run-downs where something else gives the back-EMF constant already.

use super::super::constant_ratio::Ratio;
use super::super::reading_term::ReadingTerm;
use super::run_down::{RippleFinding, SETTLED, constant_term};
use crate::fit::model::CaptureModel;
use crate::fit::preliminary_fit::PreliminaryFit;
use crate::fit::unknowns::{Direction, Entry, Layout};
use crate::ripple::{Candidate, RippleResult, USUAL_POLES, cycles_per_revolution};

/// Sigmas within which a candidate agrees with what else is known of the constant.
pub const AGREES: f64 = 4.0;

/// Probability of a constant from which its ripple leaves it open (common practice, no source).
const OPEN: f64 = 0.01;

/// Probability of a constant below which its ripple rules it out.
const RULED_OUT: f64 = 1e-6;

/// As [`super::ripple_references`], where something else already gives the constant: the harmonic pattern allows several segment counts, and the one
/// that agrees is taken; ripple that contradicts it altogether is reported and not used. `constant`: entry of its logarithm; `stated_segments`: the count of the sheet,
/// which is reported where it contradicts.
pub fn ripple_references_beside(
    findings: &mut [RippleFinding],
    constant: Entry,
    preliminary: &PreliminaryFit<'_>,
    stated_segments: Option<u32>,
    models: &[CaptureModel],
    layout: &mut Layout,
) -> (Vec<ReadingTerm>, Vec<String>) {
    let (mut terms, mut remarks) = (Vec::new(), Vec::new());
    for finding in findings {
        let capture = finding.capture;
        let candidates = &finding.result.candidates;
        if candidates.is_empty() {
            continue;
        }
        let beside = Beside::new(
            &finding.result,
            &models[capture],
            constant,
            preliminary,
            stated_segments,
        );
        let (taken, remark) = beside.verdict();
        remarks.extend(remark);
        terms.extend(taken.map(|k| constant_term(&candidates[k], capture, models, layout)));
        finding.taken = taken;
    }
    (terms, remarks)
}

/// The ripple of one run-down beside what else is known of the constant.
struct Beside<'a> {
    result: &'a RippleResult,
    /// Name of the capture.
    name: &'a str,
    /// ln of the constant as this capture's voltage channel shows it, its gain included.
    log_constant: f64,
    /// Standard uncertainty of that.
    spread: f64,
    stated_segments: Option<u32>,
}

impl<'a> Beside<'a> {
    fn new(
        result: &'a RippleResult,
        model: &'a CaptureModel,
        constant: Entry,
        preliminary: &PreliminaryFit<'_>,
        stated_segments: Option<u32>,
    ) -> Self {
        let mut seen = model.links[Direction::VOLTAGE_GAIN].clone();
        seen.push((constant, 1.0));
        Beside {
            result,
            name: &model.name,
            log_constant: seen
                .iter()
                .map(|&(k, factor)| factor * preliminary.x[k])
                .sum(),
            spread: preliminary
                .variance(&seen)
                .sqrt()
                .hypot(preliminary.voltage_share),
            stated_segments,
        }
    }

    /// Candidate (index) whose constant enters the fit, and what is to be said.
    fn verdict(&self) -> (Option<usize>, Option<String>) {
        let agreeing = self.agreeing();
        let claimed = self.claimed(agreeing.map(|(_, c)| c));
        match agreeing {
            // Unsettled on its own, but of its counts only one agrees.
            Some((index, c)) if self.result.fit_settled && c.constant_probability > RULED_OUT => {
                (Some(index), self.remark_on_taken(c, claimed))
            }
            _ => (None, claimed.map(|c| self.contradiction(c))),
        }
    }

    /// The first candidate that agrees with what else is known.
    fn agreeing(&self) -> Option<(usize, &'a Candidate)> {
        let mut candidates = self.result.candidates.iter().enumerate();
        candidates.find(|(_, c)| self.sigmas(c).abs() < AGREES)
    }

    /// The candidate that the ripple by itself, or somebody's count, names: it is held against the other references, settled or not.
    fn claimed(&self, agreeing: Option<&Candidate>) -> Option<&'a Candidate> {
        let settled = self.result.settled(SETTLED);
        let settled = settled.and_then(|_| self.result.candidates.first());
        let stated = self.stated_segments;
        let stated_cycles = stated.and_then(|s| cycles_per_revolution(s, USUAL_POLES));
        let is_stated = |c: &Candidate| Some(c.cycles_per_revolution) == stated_cycles;
        let counted = self.result.candidates.iter().find(|c| is_stated(c));
        // Where the count also makes the constant that agrees, with another line for the strongest, nobody miscounted.
        let stands = agreeing.is_some_and(|c| is_stated(c) && c.constant_probability > OPEN);
        settled.or(counted.filter(|_| self.result.fit_settled && !stands))
    }

    fn sigmas(&self, c: &Candidate) -> f64 {
        let k = c.back_emf_constant_v_s_per_rad;
        let relative = c.standard_uncertainty / k;
        (k.ln() - self.log_constant) / self.spread.hypot(relative).max(1e-3)
    }

    /// What is to be said beside a candidate that is taken: it contradicts what was claimed, or the stated count.
    fn remark_on_taken(&self, taken: &Candidate, claimed: Option<&Candidate>) -> Option<String> {
        let differs = claimed.filter(|c| self.sigmas(c).abs() > AGREES && *c != taken);
        if let Some((claim, ratio)) = differs.map(|c| self.claim(c)) {
            return Some(format!(
                "{claim}; {} segments agree with them and are taken{ratio}",
                taken.segments
            ));
        }
        let stated = self.stated_segments?;
        (!same_constant(&self.result.candidates, taken).contains(&stated)).then(|| {
            format!(
                "{}: with the stated {stated} segments its ripple contradicts the other speed anchors; with {} it agrees with them, and these are taken. \
                 Count the commutator's segments again; everything else stands",
                self.name, taken.segments
            )
        })
    }

    fn contradiction(&self, claimed: &Candidate) -> String {
        let (claim, ratio) = self.claim(claimed);
        format!(
            "{claim}, and no segment count mends it; it is not used, and the back-EMF constant should not be trusted until the conflict is settled. Check the tachometer's marks, the inertia or torque added, and the probe's ratio{ratio}"
        )
    }

    /// What a candidate makes of the constant, and the ratio that may explain its distance.
    fn claim(&self, c: &Candidate) -> (String, String) {
        let k = c.back_emf_constant_v_s_per_rad;
        let ratio = Ratio {
            of_constants: (k.ln() - self.log_constant).exp(),
            relative_sd: self.spread.hypot(c.standard_uncertainty / k),
            cycles_per_revolution: Some(c.cycles_per_revolution),
        };
        let cause = ratio.describe("K from this ripple", "K from the other anchors");
        (
            format!(
                "{}: its ripple with {} segments would make K {k:.4} V·s/rad, {:+.1} sigma from what the other speed anchors say",
                self.name,
                c.segments,
                self.sigmas(c)
            ),
            cause.map_or_else(String::new, |cause| format!(". {cause}")),
        )
    }
}

/// Segment counts that give the same constant as `chosen`.
fn same_constant(candidates: &[Candidate], chosen: &Candidate) -> Vec<u32> {
    let k = chosen.back_emf_constant_v_s_per_rad;
    let same = candidates
        .iter()
        .filter(|c| (c.back_emf_constant_v_s_per_rad / k - 1.0).abs() < 1e-6);
    same.map(|c| c.segments).collect()
}
