//! Captures whose own current warms the winding noticeably.

use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::unknowns::ParameterKind;
use crate::fit::wording::{Remark, RemarkKind};
use nalgebra::DVector;

/// Warming within a capture that is reported, K: it makes a copper resistance 0.8 % larger.
const REPORTED_K: f64 = 2.0;

/// The captures whose own current warms the winding noticeably.
pub fn warmed_captures(
    problem: &Problem,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> Vec<Remark> {
    let Some(entry) = problem.layout.find(&ParameterKind::InverseHeatCapacity) else {
        return Vec::new();
    };
    let capacity = 1.0 / x[entry];
    let warmed = problem.models.iter().zip(predictions);
    warmed
        .filter(|(_, p)| p.warmed_k > REPORTED_K)
        .map(|(model, p)| {
            let kind = RemarkKind::Warmed {
                warmed_k: p.warmed_k,
                resistance_rise: model.warmed_share(p.warmed_k),
                heat_capacity_j_per_k: capacity,
            };
            kind.about(&model.name)
        })
        .collect()
}
