//! Model terms on evidence: windage and brush drop by a likelihood ratio; what a stated prior limits by how far the captures narrow it.

use super::left_out::credible_size;
use crate::fit::error::FitError;
use crate::fit::estimate::TermDecision;
use crate::fit::joint::descent::{CLOSE, FINE, MOST_TRIALS, solve};
use crate::fit::problem::Problem;
use crate::fit::solve::{LeastSquares, Solution};
use crate::fit::uncertainty::Covariance;
use crate::fit::unknowns::{Entry, Layout, ParameterKind};
use crate::fit::wording::{Effect, TermReason};
use crate::stats::arrow::Inverse;
use nalgebra::{DMatrix, DVector};

/// Entries that the plain motor does without.
pub fn optional_entries(layout: &Layout) -> Vec<Entry> {
    [
        ParameterKind::Windage,
        ParameterKind::Saturation,
        ParameterKind::Reaction,
        ParameterKind::EddyShare,
        ParameterKind::LogEddyResistance,
    ]
    .iter()
    .filter_map(|kind| layout.find(kind))
    .collect()
}

/// Standard deviations from zero beyond which a term is kept without another fit. At a few of them the valley may bend: a contact drop 3.1 of them from
/// zero, beside a resistance that only a turn-off shows, had a likelihood ratio of 1.1.
const PLAINLY_THERE: f64 = 8.0;

/// Twice the fall in cost beyond which a term is kept: chi-squared of one degree of freedom at 1 %. A weaker rule keeps terms by
/// chance and then states two-sided intervals that exclude their absence.
const EVIDENCE: f64 = 6.63;

/// Contact drop of both brushes beyond which none is sought that the captures do not show, V: half as much again as the 2.0 V of carbon
/// brushes in IEC 60034-2-1 (1.0 V a brush; metal-graphite 0.3 V). The half: common practice, no source.
const LARGEST_DROP_V: f64 = 3.0;

/// Drops terms that the evidence does not support. A term is kept when twice the fall in cost exceeds [`EVIDENCE`]. What a dropped
/// term may still do to the others stays in their covariance.
///
/// # Errors
/// When the fit without a term cannot be evaluated.
pub fn decide(
    problem: &mut Problem,
    solution: &mut Solution,
    largest_voltage_v: f64,
) -> Result<Vec<TermDecision>, FitError> {
    let mut out = Vec::new();
    if let Some(entry) = problem.layout.find(&ParameterKind::Windage) {
        out.push(decide_one(problem, solution, "windage", entry)?);
    }
    if let Some(entry) = problem.layout.find(&ParameterKind::BrushDrop) {
        let free = solution.clone();
        let decision = decide_one(problem, solution, "brush_drop", entry)?;
        if !decision.kept {
            problem.left_out = credible_size(
                problem,
                [&free, solution],
                entry,
                largest_voltage_v.min(LARGEST_DROP_V),
            )?;
        }
        out.push(decision);
    }
    Ok(out)
}

fn decide_one(
    problem: &mut Problem,
    solution: &mut Solution,
    name: &'static str,
    entry: Entry,
) -> Result<TermDecision, FitError> {
    let inverse = inverse(&solution.equations.normal);
    let sd = inverse
        .as_ref()
        .map_or(f64::INFINITY, |m| m[entry.diagonal()].max(0.0).sqrt());
    let distance = solution.x[entry] / sd;
    if inverse.is_some() && distance > PLAINLY_THERE {
        return Ok(TermDecision {
            name,
            kept: true,
            likelihood_ratio: Some(distance * distance),
            reason: TermReason::PlainlyThere { sigmas: distance },
        });
    }
    let foreseen = without_to_first_order(&solution.x, entry, inverse.as_ref());
    let without = solve_without(problem, solution, entry, foreseen)?;
    let ratio = 2.0 * (without.equations.cost - solution.equations.cost);
    let kept = ratio > EVIDENCE;
    let effect = inverse.map_or(Effect(Vec::new()), |inverse| {
        effect(&problem.layout, &solution.x, &without.x, &inverse)
    });
    let reason = if kept {
        problem.thaw(entry);
        TermReason::Supported {
            ratio,
            least: EVIDENCE,
            effect,
        }
    } else {
        *solution = without;
        TermReason::NotSupported {
            ratio: ratio.max(0.0),
            least: EVIDENCE,
            effect,
        }
    };
    Ok(TermDecision {
        name,
        kept,
        likelihood_ratio: Some(ratio),
        reason,
    })
}

/// Inverse of a normal matrix; `None` where an entry has no information.
fn inverse(normal: &DMatrix<f64>) -> Option<DMatrix<f64>> {
    let every: Vec<usize> = (0..normal.nrows()).collect();
    let informed = every.iter().all(|&k| normal[(k, k)] > 0.0);
    informed.then(|| Inverse::over(normal, &every, 1e-14).matrix())
}

/// Where the others go when an entry goes to zero, to first order. `inverse`: of the normal matrix.
fn without_to_first_order(
    x: &DVector<f64>,
    entry: Entry,
    inverse: Option<&DMatrix<f64>>,
) -> DVector<f64> {
    let mut out = x.clone();
    if let Some(inverse) = inverse.filter(|m| m[entry.diagonal()] > 0.0) {
        out -= inverse.column(entry.index()) * (x[entry] / inverse[entry.diagonal()]);
    }
    out[entry] = 0.0;
    out
}

/// Solves with an entry held at zero, which stays so, from where the others are foreseen then.
fn solve_without(
    problem: &mut Problem,
    solution: &Solution,
    entry: Entry,
    foreseen: DVector<f64>,
) -> Result<Solution, FitError> {
    // What nothing determines goes anywhere.
    let moved = &foreseen - &solution.x;
    let within = |limits: &DVector<f64>| {
        let mut each = moved.iter().zip(limits);
        each.all(|(by, limit)| by.abs() <= *limit)
    };
    let mut start = foreseen;
    if !problem.step_limits().is_none_or(within) {
        start.clone_from(&solution.x);
        start[entry] = 0.0;
    }
    problem.freeze(entry, 0.0);
    let second_order = Some(&solution.second_order);
    solve(problem, &start, MOST_TRIALS, FINE, CLOSE, second_order)
}

/// Share of its standard deviation by which a parameter moves before it is named.
const NAMED_SHIFT: f64 = 0.2;

/// By how much the motor's parameters move from one vector to another, those that move by a fifth of their standard
/// deviation or more.
fn effect(
    layout: &Layout,
    from: &DVector<f64>,
    to: &DVector<f64>,
    covariance: &DMatrix<f64>,
) -> Effect {
    let places = [
        (ParameterKind::LogResistance, "R", true),
        (ParameterKind::LogInductance, "L", true),
        (ParameterKind::LogBackEmfConstant, "K", true),
        (ParameterKind::LogCapacitance, "C_m", true),
        (ParameterKind::FrictionCurrent, "I_c", false),
        (ParameterKind::ViscousConductance, "G_v", false),
        (ParameterKind::BrushDrop, "V_b", false),
    ];
    let moved = places.into_iter().filter_map(|(kind, name, logarithm)| {
        let entry = layout.find(&kind)?;
        let sd = covariance[entry.diagonal()].max(0.0).sqrt();
        let shift = to[entry] - from[entry];
        let sigmas = shift / sd;
        // What moves to zero itself is no effect on another.
        if !sigmas.is_finite() || sigmas.abs() < NAMED_SHIFT || to[entry] == 0.0 {
            return None;
        }
        let relative = if logarithm {
            shift.exp_m1()
        } else {
            shift / from[entry].abs().max(sd)
        };
        Some((name, relative, sigmas))
    });
    Effect(moved.collect())
}

/// The terms that a stated prior limits. They are always kept: to leave one out would call the bias it stands for zero. Each is reported with how far the captures narrow
/// its prior.
pub fn limited(problem: &Problem, covariance: &Covariance) -> Vec<TermDecision> {
    let mut out: Vec<TermDecision> = Vec::new();
    for (entry, parameter) in problem.layout.entries() {
        let Some((name, (_, prior_sd))) = limited_name(&parameter.kind).zip(parameter.prior) else {
            continue;
        };
        let narrowed = if covariance.is_free(entry) {
            covariance.total[entry.diagonal()].max(0.0).sqrt() / prior_sd
        } else {
            0.0
        };
        let reason = if !covariance.is_free(entry) {
            TermReason::AtBound
        } else if narrowed > SAYS_NOTHING {
            TermReason::PriorOnly
        } else {
            TermReason::Narrowed { share: narrowed }
        };
        out.push(TermDecision {
            name,
            kept: true,
            likelihood_ratio: None,
            reason,
        });
    }
    out
}

/// Share of the prior's standard deviation that is left where the captures say nothing.
const SAYS_NOTHING: f64 = 0.9;

fn limited_name(kind: &ParameterKind) -> Option<&'static str> {
    Some(match kind {
        ParameterKind::LogBrushScale => "brush_drop_scale",
        ParameterKind::Saturation => "saturation",
        ParameterKind::Reaction => "armature_reaction",
        ParameterKind::EddyShare => "screened_inductance",
        ParameterKind::LogEddyResistance => "screening_resistance",
        ParameterKind::ProbeLag { .. } => "probe_lag",
        ParameterKind::Skew { .. } => "channel_skew",
        ParameterKind::Source { .. } => "source_voltage",
        ParameterKind::Duty { .. } => "bridge_duty",
        ParameterKind::Loop { .. } => "source_resistance",
        ParameterKind::InverseHeatCapacity => "winding_warming",
        _ => return None,
    })
}
