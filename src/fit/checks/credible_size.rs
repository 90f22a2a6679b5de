//! How large a term that was left out may be, where the model is not straight from zero to there.
//!
//! A contact drop of currents near its own scale looks like a resistance: as it grows, R falls in proportion, the inductive rise
//! steepens and saturation follows, all far beyond what the derivatives at zero tell. So the term is held at growing sizes, the others
//! fitted anew, until twice the cost has risen by [`REACH`]² over its minimum: profile likelihood (Meeker & Escobar 1995, The American
//! Statistician 49, 48-53). The others' course to there, as a secant, then stands for their derivatives.

use crate::fit::descent::{CLOSE, COARSE, solve};
use crate::fit::error::FitError;
use crate::fit::problem::Problem;
use crate::fit::solve::{Solution, SolverError};
use crate::fit::unknowns::Entry;
use nalgebra::DVector;

/// Root of the rise of twice the cost at the largest credible size: chi-squared of one degree of freedom at 5 %.
const REACH: f64 = 1.96;

/// Factor from one trial size to the next, and how many are tried.
const NEXT: f64 = 1.5;
const MOST_SIZES: usize = 6;

/// Trials of the solver at one size.
const MOST_TRIALS: u64 = 60;

/// A term held at zero and what it may still be.
#[derive(Clone, Debug)]
pub struct CredibleSize {
    /// The term.
    pub entry: Entry,
    /// Its most likely size, in its own unit.
    pub likeliest: f64,
    /// The standard deviation that the rise of the cost above it stands for.
    pub standard_deviation: f64,
    /// By how much every entry changes as the term grows by one unit; 1 for itself.
    pub course: DVector<f64>,
}

/// How large a term may be that is held at zero, before and after; `None` where the model cannot be fitted at any size. `free`: the solution in which it was free; `sd`: its standard deviation there to first order; `others`: how all
/// entries follow it there; `largest`: the size that it cannot have.
///
/// # Errors
/// When the fit is interrupted or has spent its steps.
pub fn credible_size(
    problem: &mut Problem,
    [free, without]: [&Solution; 2],
    (entry, sd): (Entry, f64),
    others: &DVector<f64>,
    largest: f64,
) -> Result<Option<CredibleSize>, FitError> {
    let least = free.equations.cost.min(without.equations.cost);
    let likeliest = free.x[entry];
    let mut size = likeliest + REACH * sd;
    // Size, root of the rise of twice the cost there, and the vector.
    let mut last = (likeliest, 0.0_f64, free.x.clone());
    let mut credible = None;
    for _ in 0..MOST_SIZES {
        if size >= largest {
            break;
        }
        let mut start = &last.2 + others * (size - last.0);
        start[entry] = size;
        problem.freeze(entry, size);
        let found = solve(problem, &start, MOST_TRIALS, COARSE, CLOSE, None);
        problem.freeze(entry, 0.0);
        let found = match found {
            Ok(found) => found,
            Err(over @ (FitError::GivenUp { .. } | FitError::Solver(SolverError::Interrupted))) => {
                return Err(over);
            }
            Err(_) => break,
        };
        let rise = (2.0 * (found.equations.cost - least)).max(0.0).sqrt();
        let end = if rise > REACH {
            last.0 + (size - last.0) * (REACH - last.1) / (rise - last.1)
        } else {
            size
        };
        credible = Some(CredibleSize {
            entry,
            likeliest,
            standard_deviation: (end - likeliest) / REACH,
            course: (&found.x - &without.x) / size,
        });
        if rise > REACH {
            break;
        }
        last = (size, rise, found.x);
        size *= NEXT;
    }
    Ok(credible)
}
