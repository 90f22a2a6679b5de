//! How large a term that was left out may be, where the model is not straight from zero to there.
//!
//! A contact drop of currents near its own scale looks like a resistance: as it grows, R falls in proportion, the inductive rise
//! steepens and saturation follows, all far beyond what the derivatives at zero tell. So the term is held at growing sizes, the others
//! fitted anew, until twice the cost has risen by [`REACH`]² over its minimum: profile likelihood (Meeker & Escobar 1995, The American
//! Statistician 49, 48-53). The others' course to there, as a secant, then stands for their derivatives.

use crate::fit::error::FitError;
use crate::fit::joint::descent::{CLOSE, COARSE, solve};
use crate::fit::problem::Problem;
use crate::fit::problem::credible_size::CredibleSize;
use crate::fit::solve::{Solution, SolverError};
use crate::fit::uncertainty::possible;
use crate::fit::unknowns::Entry;

/// Root of the rise of twice the cost at the largest credible size: chi-squared of one degree of freedom at 5 %.
const REACH: f64 = 1.96;

/// Level of the size that the derivatives tell, the first to be tried.
const LEVEL: f64 = 0.95;

/// Factor from one size to the next, and how many are tried.
const NEXT: f64 = 1.6;
const MOST_SIZES: usize = 8;

/// Rise, in its largest credible one, up to which a size serves to tell the end and the course.
const NEAR: f64 = 1.5;

/// Rise, in the same, from which a size counts as that one.
const CLOSE_TO: f64 = 0.9;

/// Trials of the solver at one size.
const MOST_TRIALS: u64 = 40;

/// How large a term may be that is held at zero, before and after; `None` where the derivatives at zero are all that can be told. `free`: the
/// solution in which it was free; `largest`: the size that it cannot have.
///
/// # Errors
/// When the fit is interrupted.
pub fn credible_size(
    problem: &mut Problem,
    [free, without]: [&Solution; 2],
    entry: Entry,
    largest: f64,
) -> Result<Option<CredibleSize>, FitError> {
    let least = free.equations.cost.min(without.equations.cost);
    let likeliest = free.x[entry];
    let straight = possible(problem, without);
    let Some(tail) = straight.above_bound(entry.index()) else {
        return Ok(None);
    };
    let k = entry.index();
    let mut course = straight.covariance.column(k) / straight.covariance[(k, k)];
    course[entry] = 0.0;
    let mut size = tail.quantile(LEVEL).max(likeliest);
    // Size and root of the rise of twice the cost at the last one.
    let mut last = (likeliest, 0.0_f64);
    let mut credible = None;
    for _ in 0..MOST_SIZES {
        size = size.min(largest);
        if size <= last.0 || problem.half_spent() {
            break;
        }
        let mut start = &without.x + &course * size;
        start[entry] = size;
        problem.freeze(entry, size);
        let found = solve(problem, &start, MOST_TRIALS, COARSE, CLOSE, None);
        problem.freeze(entry, 0.0);
        let found = match found {
            Ok(found) if found.reason.converged() => found,
            Err(over @ FitError::Solver(SolverError::Interrupted)) => return Err(over),
            _ => break,
        };
        let rise = (2.0 * (found.equations.cost - least)).max(0.0).sqrt();
        let toward = last.0 + (size - last.0) * (REACH - last.1) / (rise - last.1);
        if rise > NEAR * REACH {
            size = toward;
            continue;
        }
        // The course is taken at the size nearest the end.
        if rise <= REACH || rise - REACH < REACH - last.1 {
            course = (&found.x - &without.x) / size;
            course[entry] = 0.0;
        }
        let end = if rise > REACH { toward } else { size };
        credible = Some(CredibleSize {
            entry,
            likeliest,
            standard_deviation: (end - likeliest) / REACH,
            course: course.clone(),
        });
        if rise > CLOSE_TO * REACH {
            break;
        }
        last = (size, rise);
        size *= NEXT;
    }
    Ok(credible)
}
