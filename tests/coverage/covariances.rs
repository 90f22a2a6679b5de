//! Other covariances of the same estimate, and the bound that an exact model would have.

use nalgebra::{DMatrix, DVector};
use rundown::fit::{Estimate, Prediction, Quantity, Row, Source};
use testbench::DrawnBench;
use testbench::stats::hac::Scores;
use testbench::stats::sandwich::ScoreCovariance;

/// Parameters over which ways to a covariance are compared: those that are two-sided everywhere.
pub const COMPARED: [&str; 7] = [
    "terminal_resistance",
    "armature_inductance",
    "back_emf_constant",
    "rotor_inertia",
    "inertia_capacitance",
    "electrical_time_constant",
    "mechanical_time_constant",
];

/// A sandwich for each of [`ScoreCovariance::ALL`]: the noise's part from the scores of the rows, all else as the estimate has it.
pub fn sandwiches(found: &Estimate) -> Vec<DMatrix<f64>> {
    let n = found.problem.layout.len();
    let (values, starts) = scores(found);
    let scores = Scores {
        values: &values,
        parameters: n,
        group_starts: &starts,
    };
    // The matrix of a quadratic form, by the form at unit vectors and their sums.
    let form = |rows: &[usize]| -> f64 {
        let mut gradient = DVector::zeros(n);
        rows.iter().for_each(|row| gradient[*row] += 1.0);
        let parts = found.covariance.parts(&gradient).into_iter();
        let others = parts.filter(|(source, _)| *source != Source::Noise);
        others.map(|(_, part)| part).sum()
    };
    let own: Vec<f64> = (0..n).map(|row| form(&[row])).collect();
    let others = DMatrix::from_fn(n, n, |a, b| match a == b {
        true => own[a],
        false => 0.5 * (form(&[a, b]) - own[a] - own[b]),
    });
    ScoreCovariance::ALL
        .iter()
        .map(|way| {
            let noise = way.sandwich(scores, found.covariance.conditional());
            &others + noise.expect("finite scores")
        })
        .collect()
}

/// Derivatives of a row's prediction in the fitted vector.
fn gradient(prediction: &Prediction, row: &Row, n: usize) -> Vec<f64> {
    let mut out = vec![0.0; n];
    for (slope, links) in row.predicted.gradient.iter().zip(prediction.slopes.each()) {
        for &(entry, link) in links {
            out[entry.index()] += slope * link;
        }
    }
    out
}

/// Weighted scores of every row, and where each group begins: rows of one channel between two events.
fn scores(found: &Estimate) -> (Vec<f64>, Vec<usize>) {
    let n = found.problem.layout.len();
    let (mut values, mut starts) = (Vec::new(), Vec::new());
    for (prediction, deviations) in found.predictions.iter().zip(&found.problem.deviations) {
        let rows = &prediction.rows;
        let key = |k: usize| {
            (
                rows[k].segment,
                rows[k].quantity,
                rows[k].zero_uncertainty.is_some(),
            )
        };
        let mut order: Vec<usize> = (0..rows.len()).collect();
        order.sort_by_key(|&k| (rows[k].segment, rows[k].quantity as usize, key(k).2));
        for (place, &k) in order.iter().enumerate() {
            if place == 0 || key(order[place - 1]) != key(k) {
                starts.push(values.len() / n);
            }
            let residual = rows[k].predicted.value - rows[k].recorded;
            let weighted = residual / (deviations[k] * deviations[k]);
            values.extend(
                gradient(prediction, &rows[k], n)
                    .iter()
                    .map(|g| weighted * g),
            );
        }
    }
    (values, starts)
}

/// Covariance that the true noise, priors and readings leave at best (the Cramér-Rao bound of a model that is exact, with Gaussian
/// priors): rows as noisy as the instruments of the drawn bench are, nothing for what the model does not know.
pub fn noise_bound(found: &Estimate, drawn: &DrawnBench) -> DMatrix<f64> {
    let n = found.problem.layout.len();
    let mut normal = found.solution.equations.normal.clone();
    for (k, prediction) in found.predictions.iter().enumerate() {
        normal -= found.problem.capture_equations(k, prediction).normal;
        let noise = true_noise(drawn, &drawn.captures[k].name);
        for row in &prediction.rows {
            let sample = noise[usize::from(row.quantity == Quantity::Current)];
            let variance = sample * sample / row.samples.max(1) as f64;
            let gradient = nalgebra::DVector::from_vec(gradient(prediction, row, n));
            normal.ger(1.0 / variance, &gradient, &gradient, 1.0);
        }
    }
    inverse_over(&normal, &found.covariance.free)
}

/// Standard deviation of a sample of voltage and of current: the instruments' noise and the rounding to codes.
fn true_noise(drawn: &DrawnBench, capture: &str) -> [f64; 2] {
    let (instruments, truth) = (&drawn.truth.instruments, drawn.truth_of(capture));
    let truth = truth.expect("every capture has a truth");
    let quieter = if instruments.high_resolution {
        0.35
    } else {
        1.0
    };
    let of = |vertical: &testbench::Vertical, sensor: f64| {
        let noise = quieter * (instruments.noise_div * vertical.per_division).hypot(sensor);
        noise.hypot(vertical.step / 12.0_f64.sqrt())
    };
    [
        of(&truth.voltage_vertical, 0.0),
        of(&truth.current_vertical, instruments.sensor_noise_a),
    ]
}

/// Inverse over the entries that are `free`, zero elsewhere; scaled to a unit diagonal first, for farads beside ohms.
fn inverse_over(normal: &DMatrix<f64>, free: &[bool]) -> DMatrix<f64> {
    let entries: Vec<usize> = (0..free.len()).filter(|&k| free[k]).collect();
    let scale: Vec<f64> = entries.iter().map(|&k| normal[(k, k)].sqrt()).collect();
    let m = entries.len();
    let scaled = DMatrix::from_fn(m, m, |a, b| {
        normal[(entries[a], entries[b])] / (scale[a] * scale[b])
    });
    let inverse = scaled.pseudo_inverse(1e-14).expect("a finite matrix");
    let mut out = DMatrix::zeros(free.len(), free.len());
    for (a, &ka) in entries.iter().enumerate() {
        for (b, &kb) in entries.iter().enumerate() {
            out[(ka, kb)] = inverse[(a, b)] / (scale[a] * scale[b]);
        }
    }
    out
}
