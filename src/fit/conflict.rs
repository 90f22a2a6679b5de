//! Speed anchors held against each other: which contradict, by how many sigmas, and the factor that usually explains it.

use super::anchor_ratio::Ratio;
use super::capture_model::Prediction;
use super::layout::{Slot, Source};
use super::problem::Problem;
use super::readings::ReadingTerm;
use nalgebra::DVector;

/// Sigmas of one anchor beyond which a conflict is told.
const LARGEST_PULL: f64 = 3.5;

/// One anchor at the solution.
struct Anchor<'a> {
    name: String,
    /// (fit − anchor)/standard uncertainty of the anchor.
    pull: f64,
    /// ln of the constant that it says by itself, with its standard uncertainty; none for what was attached to the shaft, which
    /// works through the inertia or the friction.
    alone: Option<(f64, f64)>,
    term: Option<&'a ReadingTerm>,
}

/// Anchors that contradict the rest, with their sigmas.
pub(super) fn conflicts(
    problem: &Problem,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> Vec<String> {
    let anchors = anchors(problem, x, predictions);
    let worst = anchors.iter().map(|a| a.pull.abs()).fold(0.0, f64::max);
    if anchors.len() < 2 || worst < LARGEST_PULL {
        return Vec::new();
    }
    let told: Vec<String> = anchors
        .iter()
        .map(|a| format!("{} is off by {:+.1} sigma", a.name, a.pull))
        .collect();
    let ratios = ratios(&anchors);
    let usual = if ratios.is_empty() {
        "A wrong segment count would show as a ratio of small whole numbers, a tachometer that counted two marks as a factor of two; no such ratio is seen. \
         Check the probe's ratio, the inertia or torque added, and whether the speed was read in that capture's state"
            .to_owned()
    } else {
        ratios.join("; ")
    };
    vec![format!(
        "the speed anchors contradict each other ({}); the back-EMF constant and all that follows from it should not be trusted. {usual}",
        told.join(", ")
    )]
}

fn anchors<'a>(
    problem: &'a Problem,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> Vec<Anchor<'a>> {
    let Some(constant) = problem.layout.find(&Slot::LogBackEmfConstant) else {
        return Vec::new();
    };
    let terms = problem
        .readings
        .iter()
        .filter(|r| r.source() == Source::Anchor)
        .filter_map(|r| {
            let pull = r.evaluate(x, &problem.models, predictions)?.residual;
            let sd = r.relative_sd();
            Some(Anchor {
                name: r.words(&problem.models),
                pull,
                alone: Some((x[constant] - pull * sd, sd)),
                term: Some(r),
            })
        });
    let attached = problem
        .layout
        .parameters
        .iter()
        .enumerate()
        .filter_map(|(entry, p)| {
            let Slot::Attached { capture } = p.slot else {
                return None;
            };
            let (mean, sd) = p.prior?;
            Some(Anchor {
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

/// Pairs of anchors whose constants are in a ratio of small whole numbers, a tachometer always second.
fn ratios(anchors: &[Anchor<'_>]) -> Vec<String> {
    let cycles = |a: &Anchor<'_>| match a.term {
        Some(ReadingTerm::Constant {
            cycles_per_revolution,
            ..
        }) => *cycles_per_revolution,
        _ => None,
    };
    let mut out = Vec::new();
    for (k, one) in anchors.iter().enumerate() {
        for other in &anchors[k + 1..] {
            let swap = one.term.is_some_and(ReadingTerm::is_tachometer)
                || (cycles(one).is_none() && cycles(other).is_some());
            let (a, b) = if swap { (other, one) } else { (one, other) };
            let (Some((ka, ua)), Some((kb, ub))) = (a.alone, b.alone) else {
                continue;
            };
            let ratio = Ratio {
                of_constants: (ka - kb).exp(),
                relative_sd: ua.hypot(ub),
                cycles_per_revolution: cycles(a),
            };
            out.extend(ratio.words(&format!("K from {}", a.name), &format!("K from {}", b.name)));
        }
    }
    out
}
