//! The ripple of run-downs as terms of the joint fit: by itself, and where something else gives the back-EMF constant already.

use super::super::reading_term::ReadingTerm;
use super::pattern_check::{KnownConstant, PatternCheck};
use super::run_down::{RippleFinding, SETTLED, constant_term};
use crate::fit::confrontation::Confrontation;
use crate::fit::joint::preliminary_fit::PreliminaryFit;
use crate::fit::model::CaptureModel;
use crate::fit::unknowns::{Direction, Entry, Layout};
use crate::ripple::{Candidate, Counted};

/// Sigmas within which a candidate agrees with what else is known of the constant.
pub const AGREES: f64 = 4.0;

/// Probability of a constant below which its ripple rules it out.
const RULED_OUT: f64 = 1e-6;

/// What the ripple of run-downs adds.
#[derive(Default)]
pub struct RippleReferences {
    pub terms: Vec<ReadingTerm>,
    /// The harmonic patterns beside what else is known, and the stated segment count.
    pub confrontations: Vec<Confrontation>,
    /// ln of the constants that a ripple in conflict makes, with their standard uncertainties.
    pub constants: Vec<(f64, f64)>,
}

/// A term for each run-down whose ripple settles the constant, where nothing else gives it, and what was counted at the commutator beside the harmonic patterns.
pub fn ripple_alone(
    findings: &[RippleFinding],
    counted: Counted,
    models: &[CaptureModel],
    layout: &mut Layout,
) -> RippleReferences {
    let mut out = RippleReferences::default();
    for finding in findings {
        let settled = finding.result.settled(SETTLED);
        out.terms
            .extend(settled.map(|c| constant_term(c, finding.capture, models, layout)));
        let check = PatternCheck {
            name: &models[finding.capture].name,
            candidates: &finding.result.candidates,
            known: None,
        };
        if !finding.result.fit_settled {
            continue;
        }
        let Some((line, agreeing)) = check.against_count(counted) else {
            continue;
        };
        if line.in_conflict() {
            let both = agreeing.into_iter().chain(check.most_probable());
            out.constants.extend(both.map(|c| {
                let k = c.back_emf_constant_v_s_per_rad;
                (k.ln(), c.standard_uncertainty / k)
            }));
        }
        out.confrontations.push(line);
    }
    out
}

/// As [`ripple_alone`], where something else already gives the constant: the harmonic pattern allows several segment counts, and the one
/// that agrees is taken; ripple that contradicts it altogether is not used. `constant`: entry of its logarithm; `counted`: what the sheet states of the commutator.
pub fn ripple_references_beside(
    findings: &mut [RippleFinding],
    constant: Entry,
    preliminary: &PreliminaryFit<'_>,
    counted: Counted,
    models: &[CaptureModel],
    layout: &mut Layout,
) -> RippleReferences {
    let mut out = RippleReferences::default();
    for finding in findings {
        let capture = finding.capture;
        let candidates = &finding.result.candidates;
        if candidates.is_empty() {
            continue;
        }
        let (known, log_gain) = known_constant(&models[capture], constant, preliminary);
        let check = PatternCheck {
            name: &models[capture].name,
            candidates,
            known: Some(known),
        };
        let taken = check.best().filter(|(_, c, _)| {
            check.sigmas(c).abs() < AGREES
                && finding.result.fit_settled
                && c.constant_probability > RULED_OUT
        });
        finding.taken = taken.map(|(k, _, _)| k);
        out.terms
            .extend(taken.map(|(_, c, _)| constant_term(c, capture, models, layout)));
        if !finding.result.fit_settled {
            continue;
        }
        let alone = |c: &Candidate| {
            let k = c.back_emf_constant_v_s_per_rad;
            (
                k.ln() - log_gain,
                known.sd.hypot(c.standard_uncertainty / k),
            )
        };
        if let Some(line) = check.against_constant() {
            if line.in_conflict() {
                out.constants.extend(check.most_probable().map(alone));
            }
            // A pattern that agrees stands among the references already.
            if line.text.is_some() {
                out.confrontations.push(line);
            }
        }
        let count = check.against_count(counted);
        out.confrontations.extend(count.map(|(line, _)| line));
    }
    out
}

/// What else is known of the constant as a capture's voltage channel shows it, and ln of the channel's gain in it.
fn known_constant(
    model: &CaptureModel,
    constant: Entry,
    preliminary: &PreliminaryFit<'_>,
) -> (KnownConstant, f64) {
    let mut seen = model.links[Direction::VOLTAGE_GAIN].clone();
    let log_gain: f64 = seen
        .iter()
        .map(|&(k, factor)| factor * preliminary.x[k])
        .sum();
    seen.push((constant, 1.0));
    let known = KnownConstant {
        log_constant: preliminary.x[constant] + log_gain,
        sd: preliminary
            .variance(&seen)
            .sqrt()
            .hypot(preliminary.voltage_share),
    };
    (known, log_gain)
}
