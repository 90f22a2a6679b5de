//! Standard deviations of the rows: first from what the instruments can resolve, then from the residuals themselves.

use super::capture_model::Row;

/// Half width, in rows, of the window over which residuals are pooled.
const HALF_WINDOW: usize = 12;

/// First standard deviations: a share of the reading and of the largest reading of that channel. Only the balance between rows matters here.
pub fn first_deviations(rows: &[Row]) -> Vec<f64> {
    let peak = |quantity| {
        rows.iter()
            .filter(|r| r.quantity == quantity)
            .map(|r| r.recorded.abs())
            .fold(1e-12, f64::max)
    };
    let peaks = [
        peak(super::capture_model::Quantity::Voltage),
        peak(super::capture_model::Quantity::Current),
    ];
    rows.iter()
        .map(|r| match r.zero_uncertainty {
            Some(u) => u.max(1e-4 * peaks[r.quantity as usize]),
            None => (0.01 * r.recorded).hypot(0.005 * peaks[r.quantity as usize]),
        })
        .collect()
}

/// Standard deviations from residuals, pooled over neighbours in the same leg and widened by their correlation, so that
/// a stretch whose residuals hang together counts for as few independent rows as it really holds.
pub fn deviations_from_residuals(
    rows: &[Row],
    residuals: &[f64],
    quantisation: [f64; 2],
) -> Vec<f64> {
    let mut out = vec![0.0; rows.len()];
    for group in groups(rows) {
        if let Some(u) = rows[group[0]].zero_uncertainty {
            for &k in &group {
                out[k] = u.hypot(0.03 * quantisation[rows[k].quantity as usize]);
            }
            continue;
        }
        let r: Vec<f64> = group.iter().map(|&k| residuals[k]).collect();
        let local: Vec<f64> = (0..r.len())
            .map(|k| {
                let window = &r[k.saturating_sub(HALF_WINDOW)..(k + HALF_WINDOW + 1).min(r.len())];
                window.iter().map(|v| v * v).sum::<f64>() / window.len() as f64
            })
            .collect();
        let standard: Vec<f64> = r
            .iter()
            .zip(&local)
            .map(|(r, v)| r / v.sqrt().max(1e-300))
            .collect();
        let inflation = correlation_inflation(&standard);
        for (&k, v) in group.iter().zip(&local) {
            let q = quantisation[rows[k].quantity as usize];
            // Noise does not dither every code: a mean is never better than a few hundredths of a step.
            let floor = (q / 12f64.sqrt()).powi(2) / rows[k].samples as f64 + (0.02 * q).powi(2);
            out[k] = (v.max(floor) * inflation).sqrt();
        }
    }
    out
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

/// Variance of a mean of such residuals over that of independent ones: `1 + 2 Σ ρ_k` up to the first lag at which the
/// correlation has died down (initial positive sequence; Geyer 1992, Statistical Science 7, 473-483), at least 1.
fn correlation_inflation(standard: &[f64]) -> f64 {
    let n = standard.len();
    if n < 8 {
        return 1.0;
    }
    let energy: f64 = standard.iter().map(|r| r * r).sum();
    if energy <= 0.0 {
        return 1.0;
    }
    let mut sum = 0.0;
    let mut lag = 1;
    while lag + 1 < n / 3 {
        let at = |lag: usize| {
            standard
                .iter()
                .zip(&standard[lag..])
                .map(|(a, b)| a * b)
                .sum::<f64>()
                / energy
        };
        let pair = at(lag) + at(lag + 1);
        if pair <= 0.0 {
            break;
        }
        sum += pair;
        lag += 2;
    }
    (1.0 + 2.0 * sum).clamp(1.0, n as f64 / 4.0)
}
