//! Captures whose own current warms the winding noticeably.

use crate::fit::model::Prediction;
use crate::fit::problem::Problem;
use crate::fit::unknowns::ParameterKind;
use nalgebra::DVector;

/// Warming within a capture that is reported, K: it makes a copper resistance 0.8 % larger.
const REPORTED_K: f64 = 2.0;

/// The captures whose own current warms the winding noticeably, in words.
pub fn warmed_captures(
    problem: &Problem,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> Vec<String> {
    let Some(entry) = problem.layout.find(&ParameterKind::InverseHeatCapacity) else {
        return Vec::new();
    };
    let capacity = 1.0 / x[entry];
    let warmed = problem.models.iter().zip(predictions);
    warmed
        .filter(|(_, p)| p.warmed_k > REPORTED_K)
        .map(|(model, p)| {
            format!(
                "{}: its own current warms the winding by about {:.0} K while it is recorded, which makes R {:.1} % larger at its end. This is followed, with a heat \
                 capacity of {capacity:.2} J/K; R is that at the capture's beginning. Shorter shots, and minutes between them, leave less to be followed",
                model.name,
                p.warmed_k,
                100.0 * model.warmed_share(p.warmed_k)
            )
        })
        .collect()
}
