//! The joint fit restricted to what a short script can state exactly: the linear motor, four captures, gains, zeros and
//! unknown initial states; brush drop, windage, saturation, armature reaction and eddy currents held at zero.
//!
//! `scripts/fit_speed.py` solves the same rows with the same weights and priors. With `RUNDOWN_RESTRICTED_FIT` set the test
//! writes the problem, the solution and its time there.

use nalgebra::{DMatrix, DVector};
use rundown::bench::{LoadOptions, Role, read_sheet};
use rundown::fit::solve::{LeastSquares, SolverOptions, minimise};
use rundown::fit::{Entry, FitOptions, ParameterKind, SegmentKind};
use rundown::identify::identify;
use serde_json::{Value, json};
use std::path::Path;
use std::time::Instant;

/// Entries that may move; all others keep the value that makes their term vanish, or that of the full fit.
fn moves(slot: &ParameterKind) -> bool {
    matches!(
        slot,
        ParameterKind::LogResistance
            | ParameterKind::LogInductance
            | ParameterKind::LogCapacitance
            | ParameterKind::FrictionCurrent
            | ParameterKind::ViscousConductance
            | ParameterKind::Gain { .. }
            | ParameterKind::VoltageZero { .. }
            | ParameterKind::RangeZero { .. }
            | ParameterKind::CurrentZero { .. }
            | ParameterKind::InitialEmf { .. }
            | ParameterKind::InitialCurrent { .. }
    )
}

fn vanishes(slot: &ParameterKind) -> bool {
    matches!(
        slot,
        ParameterKind::Windage
            | ParameterKind::BrushDrop
            | ParameterKind::Saturation
            | ParameterKind::Reaction
            | ParameterKind::EddyShare
            | ParameterKind::Position { .. }
            | ParameterKind::ProbeLag { .. }
            | ParameterKind::Skew { .. }
            | ParameterKind::Unevenness { .. }
    )
}

/// Standard uncertainties from the normal matrix of the entries that move.
fn uncertainties(normal: &DMatrix<f64>, free: &[usize]) -> Vec<f64> {
    let scale: Vec<f64> = free
        .iter()
        .map(|&k| normal[(k, k)].sqrt().recip())
        .collect();
    let scaled = DMatrix::from_fn(free.len(), free.len(), |a, b| {
        normal[(free[a], free[b])] * scale[a] * scale[b]
    });
    let inverse = scaled.try_inverse().expect("a regular matrix");
    (0..free.len())
        .map(|k| inverse[(k, k)].sqrt() * scale[k])
        .collect()
}

#[test]
fn the_restricted_fit_ends_at_its_minimum_from_far_and_near() {
    let sheet = Path::new(env!("CARGO_MANIFEST_DIR")).join("fixtures/ticket_printer/bench.toml");
    let bench = read_sheet(&sheet, &LoadOptions::default()).expect("a bench");
    let found = identify(&bench, &FitOptions::default(), |_| {}).expect("a fit");
    let estimate = found.estimate;
    let mut x = estimate.solution.x.clone();
    let mut problem = estimate.problem;
    let kept: Vec<usize> = (0..bench.captures.len())
        .filter(|&k| {
            let role = bench.captures[k].role;
            matches!(
                role,
                Role::Start | Role::RunDown | Role::Brake | Role::LockedRotor
            )
        })
        .collect();
    problem.models = kept.iter().map(|&k| problem.models[k].clone()).collect();
    problem.deviations = kept
        .iter()
        .map(|&k| problem.deviations[k].clone())
        .collect();
    problem.readings.clear();
    let linked = |entry: usize| {
        let links = problem.models.iter().flat_map(|m| m.links.each().flatten());
        links.into_iter().any(|link| link.0.index() == entry)
    };
    let free: Vec<usize> = (0..x.len())
        .filter(|&k| moves(&problem.layout.parameters[k].kind) && linked(k))
        .collect();
    for k in 0..x.len() {
        if vanishes(&problem.layout.parameters[k].kind) {
            x[k] = 0.0;
        }
        if free.contains(&k) {
            problem.thaw(Entry::new(k));
        } else {
            problem.freeze(Entry::new(k), x[k]);
        }
    }
    problem.set_eddy(false);
    let options = SolverOptions {
        max_iterations: 200,
        gradient_tolerance: 1e-7,
        step_tolerance: 1e-12,
        cost_tolerance: 1e-14,
        ..SolverOptions::default()
    };
    // Five per cent off in what is fitted as a logarithm, a fifth in the friction.
    let mut start = x.clone();
    for &k in &free {
        match problem.layout.parameters[k].kind {
            ParameterKind::LogResistance
            | ParameterKind::LogInductance
            | ParameterKind::LogCapacitance => start[k] += 0.05,
            ParameterKind::FrictionCurrent => start[k] *= 1.2,
            _ => {}
        }
    }
    let pool = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("a thread");
    let mut seconds = Vec::new();
    let mut solution = None;
    for _ in 0..7 {
        let begun = Instant::now();
        let found = pool.install(|| {
            let found = minimise(&problem, &start, &options).expect("a minimum");
            let widths = uncertainties(&found.equations.normal, &free);
            (found, widths)
        });
        seconds.push(begun.elapsed().as_secs_f64());
        solution = Some(found);
    }
    seconds.sort_unstable_by(f64::total_cmp);
    let (solution, widths) = solution.expect("solved");
    // Another start ends at the same place.
    let mut other = start.clone();
    for &k in &free {
        other[k] += 0.4 * (start[k] - x[k]);
    }
    let again = minimise(&problem, &other, &options).expect("a minimum");
    for (&k, width) in free.iter().zip(&widths) {
        let away = (again.x[k] - solution.x[k]).abs() / width;
        assert!(
            away < 1e-3,
            "entry {k} ends {away} standard uncertainties away"
        );
    }
    let Ok(path) = std::env::var("RUNDOWN_RESTRICTED_FIT") else {
        return;
    };
    let document = document(
        &bench,
        &problem,
        &kept,
        &free,
        &start,
        &solution.x,
        &widths,
        seconds[3],
    );
    std::fs::write(path, document.to_string()).expect("written");
}

#[allow(clippy::too_many_arguments)]
fn document(
    bench: &rundown::bench::Bench,
    problem: &rundown::fit::Problem,
    kept: &[usize],
    free: &[usize],
    start: &DVector<f64>,
    end: &DVector<f64>,
    widths: &[f64],
    seconds: f64,
) -> Value {
    let reference = bench
        .captures
        .iter()
        .filter_map(|c| c.winding_temperature_c)
        .min_by(|a, b| a.standard_uncertainty.total_cmp(&b.standard_uncertainty))
        .map(|t| t.value);
    let predictions = problem.predict(end).expect("predicted");
    let models: Vec<Value> = problem
        .models
        .iter()
        .zip(kept)
        .zip(predictions.iter().zip(&problem.deviations))
        .map(|((model, &k), (prediction, deviations))| {
            let capture = &bench.captures[k];
            let slowest = capture
                .current_chain
                .iter()
                .flat_map(|c| &c.instruments)
                .filter_map(|&i| bench.instruments[i].bandwidth_hz)
                .fold(f64::INFINITY, f64::min);
            let ratio = match (reference, capture.winding_temperature_c) {
                (Some(from), Some(to)) => {
                    rundown::motor::temperature::copper_ratio(from, to.value)
                }
                _ => 1.0,
            };
            assert!(capture.voltage_chain.is_some() && capture.added_inertia_kg_m2.is_none());
            json!({
                "name": capture.name,
                "held": capture.role == Role::LockedRotor,
                "series_ohm": capture.series_in_voltage.map_or(0.0, |s| s.0),
                "resistance_ratio": ratio,
                "current_lag_s": slowest.is_finite().then(|| 1.0 / (std::f64::consts::TAU * slowest)),
                "links": model.links.each().map(|links| links.iter().map(|(entry, factor)| (entry.index(), factor)).collect::<Vec<_>>()).collect::<Vec<_>>(),
                "legs": model.segments.iter().map(|leg| json!({
                    "kind": match leg.kind {
                        SegmentKind::Rest => "rest",
                        SegmentKind::Connected => "connected",
                        SegmentKind::Open => "open",
                        SegmentKind::Carried => "carried",
                        SegmentKind::Lost => "lost",
                    },
                    "compared": leg.compared,
                    "width_s": leg.bins.iter().map(|b| b.width_s).collect::<Vec<_>>(),
                    "voltage_v": leg.bins.iter().map(|b| b.voltage_v).collect::<Vec<_>>(),
                    "current_a": leg.bins.iter().map(|b| b.current_a).collect::<Vec<_>>(),
                })).collect::<Vec<_>>(),
                "rows": prediction.rows.iter().zip(deviations).map(|(row, deviation)| json!([
                    row.segment,
                    if row.zero_uncertainty.is_some() { "zero" } else { "bin" },
                    format!("{:?}", row.quantity).to_lowercase(),
                    row.recorded,
                    deviation,
                    row.predicted.value,
                ])).collect::<Vec<_>>(),
            })
        })
        .collect();
    let cost = problem.normal_equations(end).expect("evaluated").cost;
    json!({
        "motor": bench.motor.name,
        "free": free,
        "names": free.iter().map(|&k| format!("{:?}", problem.layout.parameters[k].kind)).collect::<Vec<_>>(),
        "start": start.as_slice(),
        "priors": problem.layout.parameters.iter().map(|p| p.prior).collect::<Vec<_>>(),
        "lower": free.iter().map(|&k| problem.layout.parameters[k].lower).map(|v| v.is_finite().then_some(v)).collect::<Vec<_>>(),
        "models": models,
        "solution": end.as_slice(),
        "uncertainties": widths,
        "cost": cost,
        "seconds": seconds,
    })
}
