//! Standard deviations of the rows: first from what the instruments can resolve, then from the residuals themselves.

use super::capture_model::{Quantity, Row};

/// Half width, in rows, of the window over which the scatter is pooled.
const HALF_WINDOW: usize = 12;

/// What the model itself is trusted to, relative to the reading: it knows no cogging, no single segment, no change of
/// contact from turn to turn. One per cent of a current, two per mille of an open-terminal voltage; common practice, no
/// source.
const MODEL_SHARE: [f64; 2] = [0.002, 0.01];

/// Such departures last: a leg holds about this many independent ones, however many rows it has.
const MODEL_DEPARTURES: f64 = 15.0;

/// Largest recorded size of voltage and current.
fn peaks(rows: &[Row]) -> [f64; 2] {
    [Quantity::Voltage, Quantity::Current].map(|quantity| {
        rows.iter()
            .filter(|r| r.quantity == quantity)
            .map(|r| r.recorded.abs())
            .fold(1e-12, f64::max)
    })
}

/// First standard deviations: a share of the reading and of the largest reading of that channel. Only the balance between rows matters here.
pub fn first_deviations(rows: &[Row]) -> Vec<f64> {
    let peaks = peaks(rows);
    rows.iter()
        .map(|r| match r.zero_uncertainty {
            Some(u) => u.max(1e-4 * peaks[r.quantity as usize]),
            None => (0.01 * r.recorded).hypot(0.005 * peaks[r.quantity as usize]),
        })
        .collect()
}

/// Standard deviations from residuals: the scatter about their own local line, pooled over neighbours in the same leg,
/// together with a share of the reading for what the model leaves out.
///
/// Only the scatter sets the weight, never a lasting departure: a stretch that the model misses keeps its weight, so that
/// the fit has to explain it. Periodic ripple that averages out over a few rows counts for less than its size, a slow
/// wander for more ([`long_run_factor`]).
///
/// `counts_for`: for a leg too short for its ripple to average out, the number of independent rows of its departure's size
/// that the whole leg is worth.
pub fn deviations_from_residuals(
    rows: &[Row],
    residuals: &[f64],
    quantisation: [f64; 2],
    counts_for: impl Fn(usize) -> Option<f64>,
) -> Vec<f64> {
    // Exact data must not weigh infinitely.
    let least = peaks(rows).map(|peak| 1e-6 * peak);
    let mut out = vec![0.0; rows.len()];
    for group in groups(rows) {
        if let Some(u) = rows[group[0]].zero_uncertainty {
            for &k in &group {
                out[k] = u
                    .hypot(0.03 * quantisation[rows[k].quantity as usize])
                    .max(least[rows[k].quantity as usize]);
            }
            continue;
        }
        let r: Vec<f64> = group.iter().map(|&k| residuals[k]).collect();
        if let Some(count) = counts_for(rows[group[0]].leg) {
            let mean_square = r.iter().map(|v| v * v).sum::<f64>() / r.len() as f64;
            let sd = (mean_square * r.len() as f64 / count).sqrt();
            group.iter().for_each(|&k| out[k] = sd.max(1e-12));
            continue;
        }
        let scatter = about_local_line(&r);
        let local: Vec<f64> = (0..r.len())
            .map(|k| {
                let window =
                    &scatter[k.saturating_sub(HALF_WINDOW)..(k + HALF_WINDOW + 1).min(r.len())];
                window.iter().map(|v| v * v).sum::<f64>() / window.len() as f64
            })
            .collect();
        let standard: Vec<f64> = scatter
            .iter()
            .zip(&local)
            .map(|(r, v)| r / v.sqrt().max(1e-300))
            .collect();
        let factor = long_run_factor(&standard);
        let lasting = (group.len() as f64 / MODEL_DEPARTURES).max(1.0);
        for (&k, v) in group.iter().zip(&local) {
            let q = quantisation[rows[k].quantity as usize];
            // Noise does not dither every code: a mean is never better than a few hundredths of a step.
            let floor = (q / 12f64.sqrt()).powi(2) / rows[k].samples as f64 + (0.03 * q).powi(2);
            let share = MODEL_SHARE[rows[k].quantity as usize];
            let model = (share * rows[k].recorded).powi(2) * lasting;
            out[k] = ((v * factor).max(floor) + model)
                .sqrt()
                .max(least[rows[k].quantity as usize]);
        }
    }
    out
}

/// Residuals less the straight line through their neighbourhood (twice [`HALF_WINDOW`] to either side).
fn about_local_line(r: &[f64]) -> Vec<f64> {
    let reach = 2 * HALF_WINDOW;
    (0..r.len())
        .map(|k| {
            let (first, end) = (k.saturating_sub(reach), (k + reach + 1).min(r.len()));
            let n = (end - first) as f64;
            if n < 4.0 {
                return r[k];
            }
            let mean = r[first..end].iter().sum::<f64>() / n;
            let centre = 0.5 * (first + end - 1) as f64;
            let (mut sxy, mut sxx) = (0.0, 0.0);
            for (j, v) in r[first..end].iter().enumerate() {
                let x = (first + j) as f64 - centre;
                sxy += x * (v - mean);
                sxx += x * x;
            }
            r[k] - mean - sxy / sxx * (k as f64 - centre)
        })
        .collect()
}

/// Rows of one leg and one channel, in time order.
pub fn groups(rows: &[Row]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut keys = Vec::new();
    for (k, row) in rows.iter().enumerate() {
        let key = (row.leg, row.quantity, row.zero_uncertainty.is_some());
        match keys.iter().position(|&other| other == key) {
            Some(g) => groups[g].push(k),
            None => {
                keys.push(key);
                groups.push(vec![k]);
            }
        }
    }
    groups
}

/// Variance of a mean of such residuals over that of independent ones, `1 + 2 Σ w_k ρ_k` with Bartlett weights over a third
/// of the leg (Newey & West 1987, Econometrica 55, 703-708): below 1 for ripple that averages out.
fn long_run_factor(standard: &[f64]) -> f64 {
    let n = standard.len();
    let energy: f64 = standard.iter().map(|r| r * r).sum();
    let lags = (n / 3).min(100);
    if lags < 2 || energy <= 0.0 {
        return 1.0;
    }
    let sum: f64 = (1..=lags)
        .map(|lag| {
            let products: f64 = standard
                .iter()
                .zip(&standard[lag..])
                .map(|(a, b)| a * b)
                .sum();
            (1.0 - lag as f64 / (lags + 1) as f64) * products / energy
        })
        .sum();
    (1.0 + 2.0 * sum).clamp(0.1, 50.0)
}
