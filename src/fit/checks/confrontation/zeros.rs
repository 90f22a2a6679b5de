//! The zero of each channel in each capture beside its stated accuracy.
//!
//! A zero is fitted as a part of its own in each capture and one that all captures on a range share; what was stated limits their sum.

use crate::fit::confrontation::{Confrontation, EvidenceKind};
use crate::fit::estimate::Estimate;
use crate::fit::unknowns::{Direction, Entry, ParameterKind};
use crate::fit::wording::Contradiction;

/// Zero, in its stated standard uncertainties, from which it is worth a line.
const PUSHED: f64 = 2.0;

/// A line for each zero that the fit pushes.
pub fn confront(estimate: &Estimate) -> Vec<Confrontation> {
    let channels = [
        (Direction::VOLTAGE_ZERO, "voltage", "V"),
        (Direction::CURRENT_ZERO, "current", "A"),
    ];
    let models = estimate.problem.models.iter();
    models
        .flat_map(|model| {
            channels.iter().filter_map(|&(direction, what, unit)| {
                let (zero, sd) = zero(estimate, &model.links[direction])?;
                let item = format!("{what} zero ({})", model.name);
                let line = Confrontation::with_deviation(
                    EvidenceKind::Instrument,
                    item,
                    -zero / sd,
                    || Contradiction::Zero {
                        capture: model.name.clone(),
                        channel: what,
                        share: (zero / sd).abs(),
                    },
                );
                (zero.abs() > PUSHED * sd)
                    .then(|| line.with_values(0.0, Some(zero), Some(sd), unit))
            })
        })
        .collect()
}

/// The zero of a channel and its stated standard uncertainty; none where no accuracy is stated.
fn zero(estimate: &Estimate, links: &[(Entry, f64)]) -> Option<(f64, f64)> {
    let (mut sum, mut variance) = (0.0, 0.0);
    for &(entry, factor) in links {
        let parameter = &estimate.problem.layout[entry];
        if matches!(parameter.kind, ParameterKind::Source { .. }) {
            return None;
        }
        sum += factor * estimate.solution.x[entry];
        variance += parameter.prior.map_or(0.0, |(_, sd)| sd * sd);
    }
    (variance > 0.0).then(|| (sum, variance.sqrt()))
}
