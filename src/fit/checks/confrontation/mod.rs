//! Every item of evidence confronted with what the others predict of it ([`crate::fit::confrontation`]).

mod captures;
mod contradict;
mod deletion;
mod group;
mod item;
mod ohmmeter;
mod search;
mod sides;
mod supply;
mod zeros;

use crate::bench::Bench;
use crate::fit::estimate::Estimate;
use crate::fit::joint::weights::noise_of_rows;

/// Fills the estimate's confrontations beside those it has from the ripple, and the parameters that a conflict leaves open.
pub fn confront(estimate: &mut Estimate, bench: &Bench) {
    let supply = supply::confront(bench, &estimate.segments);
    let mut sides = sides::constant_sides(estimate, &estimate.constants_in_conflict);
    if estimate.converged() {
        let (_, [departure, _]) = noise_of_rows(
            &estimate.problem,
            bench,
            &estimate.solution.x,
            &estimate.predictions,
        );
        let found = search::search(estimate, bench, departure);
        sides.extend(found.sides);
        let zeros = zeros::confront(estimate);
        let (captures, of_captures) = captures::confront(estimate, bench);
        sides.extend(of_captures);
        let from_ripple = std::mem::take(&mut estimate.confrontations);
        let lines = found.confrontations.into_iter();
        estimate.confrontations = lines
            .chain(from_ripple)
            .chain(supply)
            .chain(zeros)
            .chain(captures)
            .collect();
    } else {
        estimate.confrontations.extend(supply);
    }
    estimate
        .confrontations
        .sort_by_key(|line| line.kind.place());
    estimate.disputed = sides::disputed(estimate, &sides);
}
