//! Every derivative of every predicted row against central differences.

use crate::bench::{LoadOptions, read_sheet};
use crate::events;
use crate::fit::solve::LeastSquares;
use crate::fit::uncertainty::linearised::Derivatives;
use crate::fit::uncertainty::profile::Linearised;
use crate::fit::unknowns::{Layout, Slot};
use crate::fit::{Estimate, FitOptions, estimate};
use nalgebra::DVector;
use std::sync::Arc;
use testbench::{Scenario, ShotKind, draw, presets, temporary_folder};

/// Largest difference between derivative and difference, relative to the largest derivative in the same direction and leg.
const AGREEMENT: f64 = 1e-4;

/// Steps of a difference, relative to the entry's own scale. The narrow ones keep the third derivative out, the wide one the
/// jump (a millionth of the state) where a model step is halved on one side of the difference only, which the narrowest most
/// often stops short of; a derivative has to agree with one of them.
const STEPS: [f64; 3] = [1e-5, 1e-4, 3e-3];

/// A size on which entry `k` bends the prediction.
fn scale(layout: &Layout, x: &DVector<f64>, k: usize) -> f64 {
    let parameter = &layout.parameters[k];
    match parameter.slot {
        Slot::LogResistance
        | Slot::LogInductance
        | Slot::LogCapacitance
        | Slot::LogBrushScale
        | Slot::LogEddyResistance => 1.0,
        _ => match parameter.prior {
            Some((_, sd)) => sd.max(x[k].abs()),
            None => x[k].abs().max(1e-3),
        },
    }
}

#[test]
fn derivatives_of_every_row_agree_with_central_differences() {
    let winder = presets::blind_winder().with_plan(&[
        ("start", ShotKind::Start),
        ("rundown", ShotKind::RunDown),
        ("brake", ShotKind::Brake),
        ("held", ShotKind::Locked),
        ("chopped", ShotKind::Pwm),
    ]);
    // Held on the full supply for as long as warms the winding.
    let mut peeler = presets::label_peeler().with_plan(&[
        ("start", ShotKind::Start),
        ("brake", ShotKind::Brake),
        ("held", ShotKind::LockedClean),
    ]);
    peeler.plan[2].span = 30.0;
    let found = compare(&winder, &[]);
    assert!(found > 10_000, "{found} comparisons");
    compare(&peeler, &[Slot::InverseHeatCapacity]);
}

/// Number of derivatives compared; every one of `with` has to be among them.
fn compare(scenario: &Scenario, with: &[Slot]) -> usize {
    let folder = temporary_folder(&draw(scenario, 7).unwrap()).unwrap();
    let sheet = folder.path().join("bench.toml");
    let mut bench = read_sheet(&sheet, &LoadOptions::default()).unwrap();
    for instrument in &mut bench.instruments {
        instrument.bandwidth_hz = Some(60e3);
        instrument.skew_s = Some(2e-6);
    }
    let timelines: Vec<_> = bench
        .captures
        .iter()
        .map(|c| events::find(&c.waveform, c.role))
        .collect();
    let mut found = estimate(&bench, &timelines, &FitOptions::default()).unwrap();
    found.problem.set_eddy(true);
    assert_costs_agree(&found);
    let layout = &found.problem.layout;
    // Off every bound, so that each term bends the prediction.
    let mut x = found.solution.x.clone();
    let peak_a = 6.0;
    for (slot, least) in [
        (Slot::Windage, 1e-4),
        (Slot::BrushDrop, 0.4),
        (Slot::Saturation, 0.05 / (peak_a * peak_a)),
        (Slot::Reaction, 0.01 / peak_a),
        (Slot::EddyShare, 0.1),
    ] {
        let k = layout.find(&slot).unwrap();
        x[k] = x[k].max(least);
    }
    for slot in with {
        assert!(layout.find(slot).is_some(), "{slot:?} takes no part");
    }
    let mut compared = 0;
    let mut failures = Vec::new();
    for model in &found.problem.models {
        let prediction = model.predict(&x, &mut 0).unwrap();
        let at = prediction.rows;
        // Without derivatives the same values come out.
        let plain = model.predict_values(&x, &mut 0).unwrap();
        for (row, value) in at.iter().zip(&plain.rows) {
            let off = (row.predicted.value - value.predicted).abs();
            let size = row.predicted.value.abs().max(1e-3);
            assert!(off <= 1e-9 * size, "{}: {off:e} of {size:e}", model.name);
        }
        assert_eq!(at.len(), plain.rows.len());
        assert!(at.len() > 20, "{}: {} rows", model.name, at.len());
        let entries: std::collections::BTreeSet<usize> = model
            .links
            .iter()
            .flatten()
            .map(|&(entry, _)| entry)
            .collect();
        for entry in entries {
            let h = STEPS.map(|s| s * scale(layout, &x, entry));
            let moved = |by: f64| {
                let mut x = x.clone();
                x[entry] += by;
                model.predict(&x, &mut 0).unwrap().rows
            };
            let sides = h.map(|h| (moved(h), moved(-h)));
            let derivative = |k: usize| -> f64 {
                prediction
                    .slopes
                    .iter()
                    .enumerate()
                    .flat_map(|(which, links)| links.iter().map(move |link| (which, link)))
                    .filter(|(_, link)| link.0 == entry)
                    .map(|(which, link)| link.1 * at[k].predicted.gradient[which])
                    .sum()
            };
            let legs = at.iter().map(|r| r.leg).max().unwrap();
            for leg in 0..=legs {
                let rows: Vec<usize> = (0..at.len()).filter(|&k| at[k].leg == leg).collect();
                let largest = rows
                    .iter()
                    .map(|&k| derivative(k).abs())
                    .fold(0.0, f64::max);
                let size = rows
                    .iter()
                    .map(|&k| at[k].predicted.value.abs())
                    .fold(0.0, f64::max);
                // Below what a difference of numbers of that size can resolve there is nothing to compare.
                let noise = 1e-12 * size / h[0];
                let (mut worst, mut worst_at) = (0.0, 0);
                for &k in &rows {
                    let off = sides
                        .iter()
                        .zip(h)
                        .map(|((up, down), h)| {
                            (up[k].predicted.value - down[k].predicted.value) / (2.0 * h)
                        })
                        .map(|difference| (derivative(k) - difference).abs())
                        .fold(f64::INFINITY, f64::min);
                    if off > worst {
                        (worst, worst_at) = (off, k);
                    }
                    compared += 1;
                }
                if worst > AGREEMENT * largest + noise {
                    failures.push(format!(
                        "{} leg {leg} ({:?}) by {:?}: off by {:.1e} of {largest:.3e} at row {worst_at} of {}",
                        model.name,
                        model.legs[leg].kind,
                        layout.parameters[entry].slot,
                        worst / largest,
                        rows.len()
                    ));
                }
            }
        }
    }
    assert!(
        failures.is_empty(),
        "{} disagree:\n{}",
        failures.len(),
        failures.join("\n")
    );
    compared
}

/// Cost and gradient without derivatives of their own: those of the full evaluation at the minimum, and near it the same cost. What one side
/// foresees of the other is met there.
fn assert_costs_agree(found: &Estimate) {
    let problem = &found.problem;
    let minimum = &found.solution.x;
    let kept = Derivatives::new(problem, minimum, Arc::clone(&found.predictions));
    // In standard deviations, along which the gradient would move the estimate.
    let covariance = found.covariance.conditional();
    let length = |g: &DVector<f64>| g.dot(&(covariance * g)).sqrt();
    let mut step = DVector::zeros(minimum.len());
    for off in [0.0, 1e-3] {
        step[0] = off;
        let sides = problem.both_sides(minimum, &step, &kept).unwrap();
        for (sight, x) in sides.iter().zip([minimum + &step, minimum - &step]) {
            let full = problem.normal_equations(&x).unwrap();
            let apart = length(&(&sight.gradient - &full.gradient));
            let all = length(&full.gradient);
            assert!(apart <= 1e-6 + 0.05 * all, "{apart} of {all}");
            let alone = problem.cost(&x).unwrap();
            assert!((alone / full.cost - 1.0).abs() < 1e-9);
            // Foreseen, where the step was not looked at.
            let near = if x == minimum + &step { 1e-9 } else { 1e-4 };
            assert!(
                (sight.cost / full.cost - 1.0).abs() < near,
                "{} {}",
                sight.cost,
                full.cost
            );
        }
    }
}
