//! How the fit went and how well each capture agrees with it.

use super::nuisances::nuisances;
use crate::bench::{Bench, Capture};
use crate::events::{PhaseKind, Timeline};
use crate::fit::solve::StopReason as Solver;
use crate::fit::{self, Estimate, Quantity};
use crate::motor_file::{
    CaptureHealth, Cut, Fit, Identifiability, RunsTest, Stop, StopReason, TermDecision,
};
use crate::stats::quantiles::chi_squared_upper_tail;

pub(super) fn health(bench: &Bench, timelines: &[Timeline], estimate: &Estimate) -> Fit {
    let reason = match estimate.reason() {
        Solver::GradientSmall | Solver::StepSmall | Solver::CostFlat => StopReason::Converged,
        Solver::IterationLimit => StopReason::IterationLimit,
        Solver::NoDescent => StopReason::Stalled,
        Solver::NotFinite => StopReason::ModelFailed,
    };
    let rows: usize = estimate.predictions.iter().map(|p| p.rows.len()).sum();
    let free = estimate.covariance.free.iter().filter(|f| **f).count();
    let left_out = &estimate.leave_one_out;
    Fit {
        stop: Stop {
            reason,
            text: estimate.reason().to_string(),
            iterations: Some(estimate.solution.iterations as u64),
        },
        chi_squared: Some(2.0 * estimate.solution.equations.cost),
        degrees_of_freedom: Some(rows as f64 - free as f64),
        assumption: Some(
            "each row is weighed by its own residuals, widened by their autocorrelation, so chi-squared is below the degrees of freedom by construction; priors are Gaussian".into(),
        ),
        identifiability: Some(Identifiability {
            rank: free as u64,
            size: estimate.problem.layout.len() as u64,
            condition_number: estimate.covariance.condition,
            threshold: 1e-14,
            text: None,
        }),
        captures: bench
            .captures
            .iter()
            .enumerate()
            .map(|(k, c)| {
                let left_out = left_out.iter().find(|l| l.capture == k);
                capture_health(c, k, timelines, estimate, left_out)
            })
            .collect(),
        terms: estimate
            .terms
            .iter()
            .map(|t| TermDecision {
                term: t.name.into(),
                kept: t.kept,
                information_criterion_change: t.likelihood_ratio.map(|r| 2.0 - r),
                likelihood_ratio: t.likelihood_ratio.map(|r| r.max(0.0)),
                p_value: t.likelihood_ratio.map(|r| chi_squared_upper_tail(r.max(0.0), 1.0)),
                reason: t.reason.to_string(),
            })
            .collect(),
        nuisances: nuisances(bench, estimate),
    }
}

fn capture_health(
    capture: &Capture,
    k: usize,
    timelines: &[Timeline],
    estimate: &Estimate,
    left_out: Option<&fit::LeaveOneOut>,
) -> CaptureHealth {
    let rows = &estimate.predictions[k].rows;
    let plain: Vec<(f64, f64, Quantity)> = rows
        .iter()
        .zip(&estimate.problem.deviations[k])
        .filter(|(r, _)| r.zero_uncertainty.is_none())
        .map(|(r, sd)| (r.recorded - r.predicted.value, *sd, r.quantity))
        .collect();
    let rms = |quantity: Quantity| {
        let squares: Vec<f64> = plain
            .iter()
            .filter(|r| r.2 == quantity)
            .map(|r| r.0 * r.0)
            .collect();
        (!squares.is_empty()).then(|| (squares.iter().sum::<f64>() / squares.len() as f64).sqrt())
    };
    let standard: Vec<f64> = plain.iter().map(|r| r.0 / r.1).collect();
    let energy: f64 = standard.iter().map(|r| r * r).sum();
    let lag_one = standard.windows(2).map(|w| w[0] * w[1]).sum::<f64>() / energy;
    CaptureHealth {
        name: capture.name.clone(),
        role: capture.role.name().into(),
        samples: rows.iter().map(|r| r.samples as u64).sum(),
        points: rows.len() as u64,
        chi_squared_per_point: (!standard.is_empty()).then(|| energy / standard.len() as f64),
        current_residual_rms_a: rms(Quantity::Current),
        voltage_residual_rms_v: rms(Quantity::Voltage),
        autocorrelation_lag_one: (energy > 0.0).then_some(lag_one),
        runs_test: crate::stats::whiteness::runs_test(&standard, 0.0)
            .ok()
            .map(|t| RunsTest {
                runs: t.runs as u64,
                expected: t.expected,
                z: t.z,
            }),
        pull: left_out.map(|l| l.pull),
        pull_parameter: left_out.map(|l| l.parameter.to_owned()),
        cuts: timelines[k]
            .phases
            .iter()
            .filter_map(|p| match p.kind {
                PhaseKind::Excluded(reason) if p.end > p.first => Some(Cut {
                    start_s: capture.waveform.time.at(p.first)?,
                    end_s: capture.waveform.time.at(p.end - 1)?,
                    reason: reason.to_string(),
                }),
                _ => None,
            })
            .collect(),
    }
}
