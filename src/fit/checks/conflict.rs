//! Speed references held against each other: which contradict, by how many sigmas, and the factor that usually explains it.

use crate::fit::descent::{CLOSE, FINE, solve};
use crate::fit::error::FitError;
use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::references::{Ratio, ReadingTerm};
use crate::fit::unknowns::{Entry, ParameterKind, Source};
use nalgebra::DVector;

/// Sigmas of one reference beyond which a conflict is reported.
const LARGEST_PULL: f64 = 3.5;

/// One reference at the solution.
struct Reference<'a> {
    name: String,
    /// (fit − reference)/standard uncertainty of the reference.
    pull: f64,
    /// ln of the constant that it says by itself, with its standard uncertainty; none for what was attached to the shaft, which
    /// works through the inertia or the friction.
    alone: Option<(f64, f64)>,
    term: Option<&'a ReadingTerm>,
}

/// Relative standard uncertainty of the ratio of two constants beside that of what was read: gains of the channels (common practice,
/// no source).
const GAINS: f64 = 0.01;

/// References that contradict the rest, with their sigmas.
///
/// Two references may also be reconciled by a gain that nobody would believe, so a gain far from its prior counts as well. What each
/// reference says alone is taken where none of them bends the fit: it is solved once more without them.
///
/// # Errors
/// When that fit cannot be evaluated.
pub fn conflicts(
    problem: &mut Problem,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> Result<Vec<String>, FitError> {
    let Some(constant) = problem.layout.find(&ParameterKind::LogBackEmfConstant) else {
        return Ok(Vec::new());
    };
    let gains = problem.layout.entries().map(|(entry, p)| {
        let gain = matches!(p.kind, ParameterKind::Gain { .. });
        p.prior
            .filter(|_| gain)
            .map_or(0.0, |(mean, sd)| (x[entry] - mean).abs() / sd)
    });
    let strained = gains.fold(0.0, f64::max);
    let bent = references(problem, constant, x, predictions);
    let worst = bent.iter().map(|a| a.pull.abs()).fold(strained, f64::max);
    if bent.len() < 2 || worst < LARGEST_PULL {
        return Ok(Vec::new());
    }
    let pulls: Vec<f64> = bent.iter().map(|a| a.pull).collect();
    let free = without_references(problem, constant, x)?;
    let Some(free_predictions) = problem.predict(&free) else {
        return Ok(Vec::new());
    };
    let mut references = references(problem, constant, &free, &free_predictions);
    for (reference, pull) in references.iter_mut().zip(pulls) {
        reference.pull = pull;
    }
    // A strained gain alone is no conflict of references: they must differ where nothing bends them.
    if !references.iter().any(|a| a.pull.abs() >= LARGEST_PULL) && !differ(&references) {
        return Ok(Vec::new());
    }
    let pulled: Vec<String> = references
        .iter()
        .map(|a| format!("{} is off by {:+.1} sigma", a.name, a.pull))
        .collect();
    let ratios = ratios(&references);
    let usual = if ratios.is_empty() {
        "A wrong segment count would show as a ratio of small whole numbers, a tachometer that counted two marks as a factor of two; no such ratio is seen. \
         Check the probe's ratio, the inertia or torque added, and whether the speed was read in that capture's state"
            .to_owned()
    } else {
        ratios.join("; ")
    };
    Ok(vec![format!(
        "the speed anchors contradict each other ({}); the back-EMF constant and all that follows from it should not be trusted. {usual}",
        pulled.join(", ")
    )])
}

/// The minimum with no reference's term; the constant, which nothing then determines, stays where it is.
fn without_references(
    problem: &mut Problem,
    constant: Entry,
    x: &DVector<f64>,
) -> Result<DVector<f64>, FitError> {
    let all = std::mem::take(&mut problem.readings);
    let is_reference = |r: &ReadingTerm| r.source() == Source::SpeedReference;
    problem.readings = all.iter().filter(|r| !is_reference(r)).cloned().collect();
    problem.freeze(constant, x[constant]);
    let solved = solve(problem, x, 40, FINE, CLOSE, None);
    problem.thaw(constant);
    problem.readings = all;
    Ok(solved?.x)
}

/// Whether the constants of two references differ by more than their uncertainties and the gains allow.
fn differ(references: &[Reference<'_>]) -> bool {
    let alone: Vec<(f64, f64)> = references.iter().filter_map(|a| a.alone).collect();
    alone.iter().enumerate().any(|(k, a)| {
        alone[k + 1..]
            .iter()
            .any(|b| (a.0 - b.0).abs() > LARGEST_PULL * a.1.hypot(b.1).hypot(GAINS))
    })
}

fn references<'a>(
    problem: &'a Problem,
    constant: Entry,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> Vec<Reference<'a>> {
    let terms = problem
        .readings
        .iter()
        .filter(|r| r.source() == Source::SpeedReference)
        .filter_map(|r| {
            let pull = r.evaluate(x, predictions)?.residual;
            let sd = r.relative_sd();
            Some(Reference {
                name: r.describe(&problem.models),
                pull,
                alone: Some((x[constant] - pull * sd, sd)),
                term: Some(r),
            })
        });
    let attached = problem.layout.entries().filter_map(|(entry, p)| {
        let ParameterKind::Attached { capture } = p.kind else {
            return None;
        };
        let (mean, sd) = p.prior?;
        Some(Reference {
            name: format!(
                "what was attached to the shaft in {}",
                problem.models.get(capture)?.name
            ),
            pull: (x[entry] - mean) / sd,
            alone: None,
            term: None,
        })
    });
    terms.chain(attached).collect()
}

/// Pairs of references whose constants are in a ratio of small whole numbers, a tachometer always second.
fn ratios(references: &[Reference<'_>]) -> Vec<String> {
    let cycles = |a: &Reference<'_>| match a.term {
        Some(ReadingTerm::Constant(term)) => term.cycles_per_revolution,
        _ => None,
    };
    let mut out = Vec::new();
    for (k, one) in references.iter().enumerate() {
        for other in &references[k + 1..] {
            let swap = one.term.is_some_and(ReadingTerm::is_tachometer)
                || (cycles(one).is_none() && cycles(other).is_some());
            let (a, b) = if swap { (other, one) } else { (one, other) };
            let (Some((ka, ua)), Some((kb, ub))) = (a.alone, b.alone) else {
                continue;
            };
            let ratio = Ratio {
                of_constants: (ka - kb).exp(),
                relative_sd: ua.hypot(ub).hypot(GAINS),
                cycles_per_revolution: cycles(a),
            };
            out.extend(
                ratio.describe(&format!("K from {}", a.name), &format!("K from {}", b.name)),
            );
        }
    }
    out
}
