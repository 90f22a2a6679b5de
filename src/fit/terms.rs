//! Model terms on evidence: windage, brush drop, saturation, armature reaction, the screened inductance.

use super::estimate::{CLOSE, FINE, FitError, solve};
use super::layout::{Layout, Slot};
use super::problem::Problem;
use super::solver::Solution;

/// What became of one optional term.
#[derive(Clone, Debug)]
pub struct TermDecision {
    /// Name in words.
    pub name: &'static str,
    pub kept: bool,
    /// Twice the fall of the cost that the term brings (likelihood ratio), from residuals weighted by their own size.
    pub likelihood_ratio: f64,
    /// Terms of a prior with which the term is limited, in words.
    pub note: String,
}

/// Entries that the plain motor does without, with their name.
pub fn optional_entries(layout: &Layout) -> Vec<(usize, &'static str)> {
    [
        (Slot::Windage, "windage"),
        (Slot::Saturation, "saturation of the inductance"),
        (Slot::Reaction, "armature reaction"),
        (Slot::EddyShare, "screened inductance"),
        (Slot::LogEddyResistance, "screening resistance"),
    ]
    .iter()
    .filter_map(|(slot, name)| layout.find(slot).map(|entry| (entry, *name)))
    .collect()
}

/// Standard deviations from zero beyond which a term is kept without another fit: its likelihood ratio is then the square.
const PLAINLY_THERE: f64 = 3.0;

/// Twice the fall in cost beyond which a term is kept: chi-squared of one degree of freedom at 1 %. A weaker rule keeps terms by
/// chance and then states two-sided intervals that exclude their absence.
const EVIDENCE: f64 = 6.63;

/// Drops terms that the evidence does not support. A term is kept when twice the fall in cost exceeds [`EVIDENCE`]; terms limited by a prior (saturation, reaction, screening) are always kept, since leaving them out
/// would call the bias they stand for zero. What a dropped term may still do to the others stays in their covariance.
///
/// # Errors
/// When the fit without a term cannot be evaluated.
pub fn decide(
    problem: &mut Problem,
    solution: &mut Solution,
) -> Result<Vec<TermDecision>, FitError> {
    let mut out = Vec::new();
    for (slot, name) in [(Slot::Windage, "windage"), (Slot::BrushDrop, "brush_drop")] {
        let Some(entry) = problem.layout.find(&slot) else {
            continue;
        };
        let inverse = solution.equations.normal.clone().try_inverse();
        let sd = inverse.map_or(f64::INFINITY, |m| m[(entry, entry)].max(0.0).sqrt());
        let distance = solution.x[entry] / sd;
        if distance > PLAINLY_THERE {
            out.push(TermDecision {
                name,
                kept: true,
                likelihood_ratio: distance * distance,
                note: format!("{distance:.0} standard deviations from zero"),
            });
            continue;
        }
        let mut without_x = solution.x.clone();
        without_x[entry] = 0.0;
        problem.freeze(entry, 0.0);
        let without = solve(problem, &without_x, 40, FINE, CLOSE)?;
        let ratio = 2.0 * (without.equations.cost - solution.equations.cost);
        let kept = ratio > EVIDENCE;
        let note = if kept {
            problem.thaw(entry);
            format!("likelihood ratio {ratio:.1} against {EVIDENCE}")
        } else {
            *solution = without;
            format!(
                "likelihood ratio {:.1} below {EVIDENCE}; left out, and its largest credible size stays in the bounds of the others",
                ratio.max(0.0)
            )
        };
        out.push(TermDecision {
            name,
            kept,
            likelihood_ratio: ratio,
            note,
        });
    }
    Ok(out)
}
