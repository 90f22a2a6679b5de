//! The deviations of all rows from their own residuals.

use crate::bench::{Bench, Role};
use crate::fit::data::{
    Departures, Quantity, Scatter, SegmentKind, deviations, scatter_of_residuals,
};
use crate::fit::model::{CaptureModel, Prediction};
use crate::fit::problem::Problem;
use crate::fit::unknowns::ParameterKind;
use nalgebra::DVector;

/// What the waves that are followed leave of a back-EMF constant that is uneven over a turn, as a share of them: the commutator makes
/// more waves than those, and after some turns none is followed. Common practice, no source; three quarters leave the time constants
/// of the simulated benches covered.
const UNEVENNESS_LEFT: f64 = 0.75;

/// Root mean square of the back-EMF constant's relative departure over a turn, as the waves have it; 0 where none is followed.
fn unevenness(problem: &Problem, x: &DVector<f64>) -> f64 {
    let mut captures = std::collections::BTreeSet::new();
    let mut square = 0.0;
    for (entry, parameter) in problem.layout.entries() {
        if let ParameterKind::Unevenness { capture, .. } = parameter.kind {
            captures.insert(capture);
            square += 0.5 * x[entry] * x[entry];
        }
    }
    (square / captures.len().max(1) as f64).sqrt()
}

/// Sets every row's deviation from the residuals at `x`.
pub(in crate::fit) fn reweigh(problem: &mut Problem, bench: &Bench, x: &DVector<f64>) {
    let Some(predictions) = problem.predict(x) else {
        return;
    };
    let (scatters, share) = noise_of_rows(problem, bench, x, &predictions);
    for (k, scatter) in scatters.iter().enumerate() {
        problem.deviations[k] = deviations(&predictions[k].rows, scatter, share);
    }
    problem.update_waves(&predictions);
}

/// The noise of every capture's rows, and the share of a voltage and of a current to which the model can be trusted.
pub(in crate::fit) fn noise_of_rows(
    problem: &Problem,
    bench: &Bench,
    x: &DVector<f64>,
    predictions: &[Prediction],
) -> (Vec<Vec<Scatter>>, [f64; 2]) {
    let mut departures = Departures::default();
    let mut scatters = Vec::with_capacity(predictions.len());
    for (k, prediction) in predictions.iter().enumerate() {
        let residuals: Vec<f64> = prediction
            .rows
            .iter()
            .map(|r| r.predicted.value - r.recorded)
            .collect();
        let waveform = &bench.captures[k].waveform;
        let step = |t: &Option<crate::bench::Trace>| {
            t.as_ref().and_then(|t| t.quantisation_step).unwrap_or(0.0)
        };
        let quantisation = [step(&waveform.voltage_v), step(&waveform.current_a)];
        let model = &problem.models[k];
        let scatter = scatter_of_residuals(&prediction.rows, &residuals, quantisation, |segment| {
            independent_rows(model, segment)
        });
        departures.add(&prediction.rows, &residuals, &scatter);
        scatters.push(scatter);
    }
    let mut share = departures.share();
    let current = Quantity::Current as usize;
    share[current] = share[current].hypot(UNEVENNESS_LEFT * unevenness(problem, x));
    (scatters, share)
}

/// How many independent rows a segment is worth that lasts for a few turns at most, where the back-EMF's ripple and the unevenness
/// of the commutator do not average out: a switched record, and what a brake shows before the short (common practice, no source).
/// Behind a bridge whose voltage was not recorded the bins hold whole periods.
pub(in crate::fit) fn independent_rows(model: &CaptureModel, segment: usize) -> Option<f64> {
    let segments = &model.segments;
    match model.role {
        Role::Pwm | Role::PwmLocked if model.coasting.is_some() => None,
        Role::Pwm | Role::PwmLocked => Some(20.0),
        Role::Brake
            if segment + 1 < segments.len() && segments[segment].kind == SegmentKind::Open =>
        {
            Some(2.0)
        }
        Role::Brake if segment == 0 && segments[segment].kind == SegmentKind::Connected => {
            Some(4.0)
        }
        _ => None,
    }
}
