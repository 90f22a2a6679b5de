//! Which intervals of an estimate the plain `± z σ` does not describe, and how far those reach instead.

use super::linearised::Derivatives;
use super::monomial::{Placed, monomials};
use super::profile::{
    Direction, Linearised, Minimum, PlainEnd, Stretched, Target, end, plain_ends,
};
use crate::fit::estimate::{Estimate, ProfileToWaldRatio};
use crate::fit::problem::Problem;
use crate::fit::unknowns::{Entry, ParameterKind};
use crate::stats::quantiles::normal_quantile;
use nalgebra::DVector;
use rayon::prelude::*;
use std::sync::Arc;

/// Departure of the profile from the plain interval, relative to its half width, up to which the plain one is reported.
const AGREES: f64 = 0.05;

/// Departure up to which the look at the plain interval's ends is enough, and what one side foresees of the other: over the shipped motors it is then off by
/// 0.02 and 0.01 at most.
const FORESEEN: f64 = 0.03;

/// Change of a logarithm over a plain interval's half width, above which the interval is found in the quantity itself.
const FAR: f64 = 0.2;

/// Most a profile may narrow or widen one side: beyond it the cost is no paraboloid at all, and the narrower claim is not made.
const NARROWEST: f64 = 0.5;
const WIDEST: f64 = 4.0;

/// Profiles of every parameter whose interval is two-sided; those that agree with the plain interval are absent.
pub fn profile_to_wald_ratios(estimate: &Estimate) -> Vec<ProfileToWaldRatio> {
    let derivatives = derivatives(estimate);
    let minimum = minimum(estimate, &derivatives);
    monomials()
        .par_iter()
        .filter_map(|m| {
            let placed = m.place(&estimate.problem.layout)?;
            let target = |x: &DVector<f64>| placed.target(x);
            let direction = two_sided(estimate, &minimum, &placed, &target)?;
            let bent = bent(estimate, &minimum, &direction);
            let [below, above] = if bent.is_empty() {
                sides(&minimum, &direction)
            } else {
                stretched_sides(&minimum, &target, bent)?
            };
            ((below, above) != (1.0, 1.0)).then_some(ProfileToWaldRatio {
                parameter: m.name,
                below,
                above,
            })
        })
        .collect()
}

fn derivatives(estimate: &Estimate) -> Derivatives {
    let predictions = Arc::clone(&estimate.predictions);
    Derivatives::new(&estimate.problem, &estimate.solution.x, predictions)
}

fn minimum<'a>(estimate: &'a Estimate, derivatives: &'a Derivatives) -> Minimum<'a, Problem> {
    Minimum {
        problem: &estimate.problem,
        solution: &estimate.solution,
        covariance: estimate.covariance.conditional(),
        derivatives,
        z: normal_quantile(0.5 + 0.5 * estimate.options.level),
    }
}

/// The direction of a parameter; `None` for one at its bound or near it, which has a one-sided interval of its own.
fn two_sided<'a, T: Target>(
    estimate: &Estimate,
    minimum: &Minimum<Problem>,
    placed: &Placed,
    target: &'a T,
) -> Option<Direction<'a, T>> {
    if placed
        .may_be_zero()
        .is_some_and(|k| !estimate.covariance.is_free(k))
    {
        return None;
    }
    let direction = Direction::new(minimum, target)?;
    let (at, _) = target(&estimate.solution.x);
    (placed.may_be_zero().is_none() || at >= minimum.z * direction.sigma).then_some(direction)
}

/// Entries along which the valley of the least cost is straight in themselves and not in their logarithm, where the target takes them far: the
/// contact drop at currents below its scale goes with their ratio.
fn bent<T: Target>(
    estimate: &Estimate,
    minimum: &Minimum<Problem>,
    direction: &Direction<T>,
) -> Vec<usize> {
    let scale = estimate.problem.layout.find(&ParameterKind::LogBrushScale);
    let far = |entry: &Entry| direction.change(entry.index(), minimum.z).abs() > FAR;
    let entry = scale.filter(far);
    entry.map(Entry::index).into_iter().collect()
}

/// What [`sides`] finds in coordinates in which `bent` entries stand as they are.
fn stretched_sides<T: Target>(
    minimum: &Minimum<Problem>,
    target: &T,
    bent: Vec<usize>,
) -> Option<[f64; 2]> {
    let stretched = Stretched::new(minimum.problem, bent, &minimum.solution.x);
    let solution = stretched.solution(minimum.solution);
    let covariance = stretched.covariance(&solution.x, minimum.covariance.clone());
    let minimum = Minimum {
        problem: &stretched,
        solution: &solution,
        covariance: &covariance,
        derivatives: minimum.derivatives,
        z: minimum.z,
    };
    let target = |y: &DVector<f64>| {
        let (value, slope) = target(&stretched.there(y));
        (value, stretched.gradient(y, slope))
    };
    let direction = Direction::new(&minimum, &target)?;
    let [below, above] = [-1.0, 1.0].map(|side| {
        let seen = plain_ends(&minimum, &direction, side);
        reach(&minimum, &direction, side, seen.map(|(seen, _)| seen))
    });
    Some([below, above])
}

/// ProfileToWaldRatio below and above.
fn sides<P: Linearised, T: Target>(minimum: &Minimum<P>, direction: &Direction<T>) -> [f64; 2] {
    let first = plain_ends(minimum, direction, 1.0);
    if let Some((above, Some(below))) = &first
        && ![above, below].iter().any(|end| departs(end, FORESEEN))
    {
        return [1.0; 2];
    }
    let below = plain_ends(minimum, direction, -1.0).map(|(below, _)| below);
    let above = first.map(|(above, _)| above);
    [(-1.0, below), (1.0, above)].map(|(side, seen)| reach(minimum, direction, side, seen))
}

fn departs(end: &PlainEnd, by: f64) -> bool {
    (end.ratio - 1.0).abs() > by
}

/// Reach of one side over the plain one. Where the search for the end does not settle, nothing narrower than the plain one is claimed.
fn reach<P: Linearised, T: Target>(
    minimum: &Minimum<P>,
    direction: &Direction<T>,
    side: f64,
    seen: Option<PlainEnd>,
) -> f64 {
    let Some(seen) = seen.filter(|end| departs(end, FORESEEN)) else {
        return 1.0;
    };
    let quick = (1.0 / seen.ratio.max(0.1)).max(1.0);
    let found = end(minimum, direction, side, seen, (NARROWEST, WIDEST));
    let reach = found.map_or(quick, |d| d / (minimum.z * direction.sigma));
    let reach = reach.clamp(NARROWEST, WIDEST);
    if (reach - 1.0).abs() > AGREES {
        reach
    } else {
        1.0
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::bench::{LoadOptions, read_sheet};
    use crate::events;
    use crate::fit::{FitOptions, estimate};
    use std::path::Path;

    /// Where the quick look lets the plain interval stand, the whole profile ends within a fiftieth of it; and what one side foresees of the
    /// other is then met to a hundredth.
    #[test]
    fn the_quick_look_agrees_with_the_whole_profile_where_it_decides() {
        let sheet = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/dosing_pump/bench.toml");
        let bench = read_sheet(&sheet, &LoadOptions::default()).expect("a bench");
        let captures = bench.captures.iter();
        let timelines: Vec<_> = captures
            .map(|c| events::find(&c.waveform, c.role))
            .collect();
        let estimate = &estimate(&bench, &timelines, &FitOptions::default()).expect("a fit");
        let derivatives = derivatives(estimate);
        let minimum = minimum(estimate, &derivatives);
        let (mut decided, mut foreseen) = (0, 0);
        for m in monomials() {
            let Some(placed) = m.place(&estimate.problem.layout) else {
                continue;
            };
            let target = |x: &DVector<f64>| placed.target(x);
            let Some(direction) = two_sided(estimate, &minimum, &placed, &target) else {
                continue;
            };
            for side in [-1.0, 1.0] {
                let Some((seen, Some(other))) = plain_ends(&minimum, &direction, side) else {
                    continue;
                };
                let ratio = seen.ratio;
                if (ratio - 1.0).abs().max((other.ratio - 1.0).abs()) < FORESEEN
                    && let Some((met, _)) = plain_ends(&minimum, &direction, -side)
                {
                    foreseen += 1;
                    assert!((other.ratio - met.ratio).abs() < 0.01, "{} {side}", m.name);
                }
                if (ratio - 1.0).abs() < FORESEEN {
                    decided += 1;
                    let end = end(&minimum, &direction, side, seen, (NARROWEST, WIDEST));
                    let reach = end.expect("an end") / (minimum.z * direction.sigma);
                    assert!(
                        (reach * ratio - 1.0).abs() < 0.02,
                        "{} {side}: {reach} where the quick look tells {}",
                        m.name,
                        1.0 / ratio
                    );
                }
            }
        }
        assert!(decided > 15 && foreseen > 10, "{decided} {foreseen}");
    }
}
