//! Every derivative of every predicted row against central differences.

use super::{CaptureModel, Prediction, Row};
use crate::bench::{LoadOptions, read_sheet};
use crate::events;
use crate::fit::solve::LeastSquares;
use crate::fit::uncertainty::linearised::Derivatives;
use crate::fit::uncertainty::profile::Linearised;
use crate::fit::unknowns::{Entry, Layout, ParameterKind};
use crate::fit::{Estimate, FitOptions, estimate};
use nalgebra::DVector;
use std::collections::BTreeSet;
use std::sync::Arc;
use testbench::{CoastingStart, Extras, Scenario, ShotKind, draw, presets, temporary_folder_with};

/// Largest difference between derivative and difference, relative to the largest derivative in the same direction and segment.
const AGREEMENT: f64 = 1e-4;

/// Steps of a difference, relative to the entry's own scale. The narrow ones keep the third derivative out, the wide one the
/// jump (a millionth of the state) where a model step is halved on one side of the difference only, which the narrowest most
/// often stops short of; a derivative has to agree with one of them.
const STEPS: [f64; 3] = [1e-5, 1e-4, 3e-3];

/// A size on which an entry bends the prediction.
fn scale(layout: &Layout, x: &DVector<f64>, entry: Entry) -> f64 {
    let parameter = &layout[entry];
    match parameter.kind {
        ParameterKind::LogResistance
        | ParameterKind::LogInductance
        | ParameterKind::LogCapacitance
        | ParameterKind::LogBrushScale
        | ParameterKind::LogEddyResistance => 1.0,
        _ => match parameter.prior {
            Some((_, sd)) => sd.max(x[entry].abs()),
            None => x[entry].abs().max(1e-3),
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
    let found = compare(&winder, Extras::default(), &[]);
    assert!(found > 10_000, "{found} comparisons");
    let heat = ParameterKind::InverseHeatCapacity;
    compare(&peeler, Extras::default(), &[heat]);
    // Behind a bridge whose current flows on at first and dies in each period later.
    let coasting = Extras {
        coasting: Some(CoastingStart {
            into_supply: false,
            duty: 0.4,
            period_share: 1.0,
            samples: 12.7,
        }),
        ..Extras::default()
    };
    let started = winder.with_plan(&[("start", ShotKind::Start), ("rundown", ShotKind::RunDown)]);
    compare(&started, coasting, &[ParameterKind::Duty { capture: 2 }]);
}

/// Number of derivatives compared; every one of `with` has to be among them.
fn compare(scenario: &Scenario, extras: Extras, with: &[ParameterKind]) -> usize {
    let found = fitted(scenario, extras);
    assert_costs_agree(&found);
    let layout = &found.problem.layout;
    for kind in with {
        assert!(layout.find(kind).is_some(), "{kind:?} takes no part");
    }
    let x = off_every_bound(layout, &found.solution.x);
    let mut compared = 0;
    let mut failures = Vec::new();
    for model in &found.problem.models {
        let prediction = model.predict(&x, &mut 0).unwrap();
        assert_values_agree(model, &x, &prediction);
        let entries: BTreeSet<Entry> = model
            .links
            .each()
            .flatten()
            .map(|&(entry, _)| entry)
            .collect();
        for entry in entries {
            let check = Check::new(model, &prediction, &x, entry, scale(layout, &x, entry));
            compared += prediction.rows.len();
            failures.extend(check.failures().map(|failure| {
                let kind = &layout[entry].kind;
                format!("{} by {kind:?}: {failure}", model.name)
            }));
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

/// The estimate from a drawn bench whose probes are slow and skewed, with every term of the model.
fn fitted(scenario: &Scenario, extras: Extras) -> Estimate {
    let folder = temporary_folder_with(&draw(scenario, 7).unwrap(), extras).unwrap();
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
    found
}

/// A point at which each term bends the prediction.
fn off_every_bound(layout: &Layout, at: &DVector<f64>) -> DVector<f64> {
    let mut x = at.clone();
    let peak_a = 6.0;
    for (kind, least) in [
        (ParameterKind::Windage, 1e-4),
        (ParameterKind::BrushDrop, 0.4),
        (ParameterKind::Saturation, 0.05 / (peak_a * peak_a)),
        (ParameterKind::Reaction, 0.01 / peak_a),
        (ParameterKind::EddyShare, 0.1),
    ] {
        let entry = layout.find(&kind).unwrap();
        x[entry] = x[entry].max(least);
    }
    x
}

/// Without derivatives the same values come out.
fn assert_values_agree(model: &CaptureModel, x: &DVector<f64>, prediction: &Prediction) {
    let plain = model.predict_values(x, &mut 0).unwrap();
    let rows = &prediction.rows;
    for (row, value) in rows.iter().zip(&plain.rows) {
        let off = (row.predicted.value - value.predicted).abs();
        let size = row.predicted.value.abs().max(1e-3);
        assert!(off <= 1e-9 * size, "{}: {off:e} of {size:e}", model.name);
    }
    assert_eq!(rows.len(), plain.rows.len());
    assert!(rows.len() > 20, "{}: {} rows", model.name, rows.len());
}

/// The derivatives of a capture's rows by one entry, and the differences to be held against them.
struct Check<'a> {
    model: &'a CaptureModel,
    rows: &'a [Row],
    /// Of each row.
    derivatives: Vec<f64>,
    /// Of each row, for each of [`STEPS`].
    differences: Vec<[f64; STEPS.len()]>,
    /// Smallest step.
    least_step: f64,
}

impl<'a> Check<'a> {
    fn new(
        model: &'a CaptureModel,
        prediction: &'a Prediction,
        x: &DVector<f64>,
        entry: Entry,
        scale: f64,
    ) -> Self {
        let steps = STEPS.map(|s| s * scale);
        let moved = |by: f64| {
            let mut x = x.clone();
            x[entry] += by;
            model.predict(&x, &mut 0).unwrap().rows
        };
        let sides = steps.map(|h| (moved(h), moved(-h)));
        let rows = &prediction.rows;
        let derivative = |row: &Row| -> f64 {
            let gradient = row.predicted.gradient.iter();
            gradient
                .zip(prediction.slopes.each())
                .flat_map(|(by, links)| links.iter().map(move |link| (by, link)))
                .filter(|(_, link)| link.0 == entry)
                .map(|(by, link)| link.1 * by)
                .sum()
        };
        let difference = |k: usize| {
            std::array::from_fn(|s| {
                let (up, down) = &sides[s];
                (up[k].predicted.value - down[k].predicted.value) / (2.0 * steps[s])
            })
        };
        Check {
            model,
            rows,
            derivatives: rows.iter().map(derivative).collect(),
            differences: (0..rows.len()).map(difference).collect(),
            least_step: steps[0],
        }
    }

    /// Segments in which a derivative agrees with none of the differences.
    fn failures(&self) -> impl Iterator<Item = String> {
        let segments = self.rows.iter().map(|r| r.segment).max().unwrap();
        (0..=segments).filter_map(|segment| self.failure(segment))
    }

    fn failure(&self, segment: usize) -> Option<String> {
        let of_segment = || (0..self.rows.len()).filter(|&k| self.rows[k].segment == segment);
        let largest = of_segment()
            .map(|k| self.derivatives[k].abs())
            .fold(0.0, f64::max);
        let size = of_segment()
            .map(|k| self.rows[k].predicted.value.abs())
            .fold(0.0, f64::max);
        // Below what a difference of numbers of that size can resolve there is nothing to compare.
        let noise = 1e-12 * size / self.least_step;
        let off = |k: usize| {
            let differences = self.differences[k].iter();
            differences
                .map(|difference| (self.derivatives[k] - difference).abs())
                .fold(f64::INFINITY, f64::min)
        };
        let (at, worst) = of_segment()
            .map(|k| (k, off(k)))
            .max_by(|a, b| a.1.total_cmp(&b.1))?;
        (worst > AGREEMENT * largest + noise).then(|| {
            format!(
                "segment {segment} ({:?}) is off by {:.1e} of {largest:.3e} at row {at}",
                self.model.segments[segment].kind,
                worst / largest
            )
        })
    }
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
