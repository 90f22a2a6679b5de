//! Standard deviations of the rows: first from what the instruments can resolve, then from the residuals themselves.

use super::row::{Quantity, Row};

/// Half width, in rows, of the window over which the scatter is pooled.
const HALF_WINDOW: usize = 12;

/// What the model itself is trusted to before the residuals are seen, relative to the reading: it knows no cogging, no single
/// segment, no change of contact from turn to turn. One per cent of a current, two per mille of an open-terminal voltage;
/// common practice, no source.
pub const MODEL_SHARE: [f64; 2] = [0.002, 0.01];

/// How many stretches of residuals that trust is worth, and the least share of it that remains however small they are.
const PRIOR_WEIGHT: f64 = 4.0;
const LEAST_SHARE: f64 = 0.1;

/// Such departures last. They are looked for in this many stretches of a segment, and a segment holds about so many independent ones,
/// however many rows it has: a winding that warms or an inductance that bends otherwise than modelled departs once or twice.
const MODEL_DEPARTURES: f64 = 15.0;
const INDEPENDENT_DEPARTURES: f64 = 6.0;

/// Largest recorded size of voltage and current.
fn peaks<S>(rows: &[Row<S>]) -> [f64; 2] {
    [Quantity::Voltage, Quantity::Current].map(|quantity| {
        rows.iter()
            .filter(|r| r.quantity == quantity)
            .map(|r| r.recorded.abs())
            .fold(1e-12, f64::max)
    })
}

/// First standard deviations: a share of the reading and of the largest reading of that channel. Only the balance between rows matters here.
pub fn first_deviations<S>(rows: &[Row<S>]) -> Vec<f64> {
    let peaks = peaks(rows);
    rows.iter()
        .map(|r| match r.zero_uncertainty {
            Some(u) => u.max(1e-4 * peaks[r.quantity as usize]),
            None => (0.01 * r.recorded).hypot(0.005 * peaks[r.quantity as usize]),
        })
        .collect()
}

/// Rows of one segment and one channel with the variance of their noise.
pub struct Scatter {
    pub(crate) rows: Vec<usize>,
    pub(crate) variance: Vec<f64>,
    /// Whether the model's own departures come on top.
    pub(crate) with_departures: bool,
}

/// The noise of the rows: the scatter about their own local line, pooled over neighbours in the same segment.
///
/// Only the scatter counts, never a lasting departure: a stretch that the model misses keeps its weight, so that
/// the fit has to explain it. Periodic ripple that averages out over a few rows counts for less than its size, a slow
/// wander for more ([`long_run_factor`]).
///
/// `counts_for`: for a segment too short for its ripple to average out, the number of independent rows of its departure's size
/// that the whole segment is worth.
pub fn scatter_of_residuals<S>(
    rows: &[Row<S>],
    residuals: &[f64],
    quantisation: [f64; 2],
    counts_for: impl Fn(usize) -> Option<f64>,
) -> Vec<Scatter> {
    groups(rows)
        .into_iter()
        .map(|group| {
            let r: Vec<f64> = group.iter().map(|&k| residuals[k]).collect();
            let (variance, with_departures) = if let Some(u) = rows[group[0]].zero_uncertainty {
                let step = |k: usize| 0.03 * quantisation[rows[k].quantity as usize];
                (
                    group.iter().map(|&k| u * u + step(k).powi(2)).collect(),
                    false,
                )
            } else if let Some(count) = counts_for(rows[group[0]].segment) {
                // A segment is never worth more rows than it has, and one whose few rows its unknown beginning fits exactly is
                // known no better than its converter shows it.
                let mean_square = r.iter().map(|v| v * v).sum::<f64>() / r.len() as f64;
                let one = mean_square * (r.len() as f64 / count).max(1.0);
                let variance = group
                    .iter()
                    .map(|&k| one.max(rounding(&rows[k], quantisation)));
                (variance.collect(), false)
            } else {
                (pooled_scatter(rows, &group, &r, quantisation), true)
            };
            Scatter {
                rows: group,
                variance,
                with_departures,
            }
        })
        .collect()
}

fn pooled_scatter<S>(
    rows: &[Row<S>],
    group: &[usize],
    residuals: &[f64],
    quantisation: [f64; 2],
) -> Vec<f64> {
    let scatter = about_local_line(residuals);
    let n = scatter.len();
    let local: Vec<f64> = (0..n)
        .map(|k| {
            let window = &scatter[k.saturating_sub(HALF_WINDOW)..(k + HALF_WINDOW + 1).min(n)];
            window.iter().map(|v| v * v).sum::<f64>() / window.len() as f64
        })
        .collect();
    let standard: Vec<f64> = scatter
        .iter()
        .zip(&local)
        .map(|(r, v)| r / v.sqrt().max(1e-300))
        .collect();
    let factor = long_run_factor(&standard);
    group
        .iter()
        .zip(&local)
        .map(|(&k, v)| (v * factor).max(rounding(&rows[k], quantisation)))
        .collect()
}

/// Least variance of a mean behind a converter of these steps: noise does not dither every code, so it is never better known than to a
/// few hundredths of a step.
fn rounding<S>(row: &Row<S>, quantisation: [f64; 2]) -> f64 {
    let q = quantisation[row.quantity as usize];
    ((q / 12f64.sqrt()).powi(2) / row.samples as f64 + (0.03 * q).powi(2)).max(1e-24)
}

/// What the residuals of all captures say of the share of its reading to which the model can be trusted.
///
/// A segment's residuals are averaged over [`MODEL_DEPARTURES`] stretches. What these means scatter beyond the rows' noise is the
/// model's. [`MODEL_SHARE`] counts as [`PRIOR_WEIGHT`] such stretches, and one that the noise drowns counts for less.
#[derive(Clone, Copy, Debug, Default)]
pub struct Departures {
    weight: [f64; 2],
    square: [f64; 2],
}

impl Departures {
    /// Adds one capture's residuals.
    pub fn add<S>(&mut self, rows: &[Row<S>], residuals: &[f64], scatter: &[Scatter]) {
        let peaks = peaks(rows);
        for group in scatter.iter().filter(|g| g.with_departures) {
            let quantity = rows[group.rows[0]].quantity as usize;
            let length = group.rows.len().div_ceil(MODEL_DEPARTURES as usize).max(1);
            let usual = MODEL_SHARE[quantity].powi(2);
            for start in (0..group.rows.len()).step_by(length) {
                let end = (start + length).min(group.rows.len());
                let (mut sum, mut noise, mut count) = (0.0, 0.0, 0.0);
                for k in start..end {
                    let row = group.rows[k];
                    let size = rows[row].recorded.abs();
                    if size > 0.03 * peaks[quantity] {
                        sum += residuals[row] / size;
                        noise += group.variance[k] / (size * size);
                        count += 1.0;
                    }
                }
                if count < 1.0 {
                    continue;
                }
                let (mean, noise) = (sum / count, noise / (count * count));
                let weight = (usual / (usual + noise)).powi(2);
                self.weight[quantity] += weight;
                self.square[quantity] += weight * (mean * mean - noise);
            }
        }
    }

    /// The share for voltages and for currents.
    pub fn share(&self) -> [f64; 2] {
        std::array::from_fn(|q| {
            let usual = MODEL_SHARE[q] * MODEL_SHARE[q];
            let square = (PRIOR_WEIGHT * usual + self.square[q]) / (PRIOR_WEIGHT + self.weight[q]);
            square.max(LEAST_SHARE * LEAST_SHARE * usual).sqrt()
        })
    }
}

/// Standard deviations of the rows: noise and the model's share of the reading.
pub fn deviations<S>(rows: &[Row<S>], scatter: &[Scatter], share: [f64; 2]) -> Vec<f64> {
    // Exact data must not weigh infinitely.
    let least = peaks(rows).map(|peak| 1e-6 * peak);
    let mut out = vec![0.0; rows.len()];
    for group in scatter {
        let lasting = (group.rows.len() as f64 / INDEPENDENT_DEPARTURES).max(1.0);
        for (&k, noise) in group.rows.iter().zip(&group.variance) {
            let quantity = rows[k].quantity as usize;
            let model = if group.with_departures {
                (share[quantity] * rows[k].recorded).powi(2) * lasting
            } else {
                0.0
            };
            out[k] = (noise + model).sqrt().max(least[quantity]);
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

/// Rows of one segment and one channel, in time order.
pub fn groups<S>(rows: &[Row<S>]) -> Vec<Vec<usize>> {
    let mut groups: Vec<Vec<usize>> = Vec::new();
    let mut keys = Vec::new();
    for (k, row) in rows.iter().enumerate() {
        let key = (row.segment, row.quantity, row.zero_uncertainty.is_some());
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

/// Rows a period of the band in which the spectrum stands for frequency zero: the local line has taken what is slower.
const BAND_ROWS: [usize; 2] = [10, 30];

/// Weight of whiteness against the periodogram, in frequencies.
const WHITE_WEIGHT: f64 = 2.0;

/// Variance of a mean of such residuals over that of independent ones: their spectral density at low frequency over its mean,
/// which is 1 for white noise and below 1 for ripple that averages out. Read from the periodogram in [`BAND_ROWS`], since
/// residuals about a local line hold nothing at frequency zero itself.
fn long_run_factor(standard: &[f64]) -> f64 {
    let n = standard.len();
    let energy: f64 = standard.iter().map(|r| r * r).sum();
    let (first, last) = (n.div_ceil(BAND_ROWS[1]), n / BAND_ROWS[0]);
    if first == 0 || last < first || energy <= 0.0 {
        return 1.0;
    }
    let power: f64 = (first..=last)
        .map(|m| {
            let (turn_sin, turn_cos) = (std::f64::consts::TAU * m as f64 / n as f64).sin_cos();
            // cos and sin of the running phase by rotation: a segment has a few hundred rows.
            let (mut c, mut s, mut re, mut im) = (1.0, 0.0, 0.0, 0.0);
            for r in standard {
                re += r * c;
                im += r * s;
                (c, s) = (c * turn_cos - s * turn_sin, s * turn_cos + c * turn_sin);
            }
            (re * re + im * im) / energy
        })
        .sum();
    let count = (last - first + 1) as f64;
    ((WHITE_WEIGHT + power) / (WHITE_WEIGHT + count)).clamp(0.05, 50.0)
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng, rngs::StdRng};

    fn mean_factor(of: impl Fn(&mut StdRng, usize) -> f64) -> f64 {
        let mut random = StdRng::seed_from_u64(5);
        let runs = 200;
        (0..runs)
            .map(|_| {
                let r: Vec<f64> = (0..240).map(|k| of(&mut random, k)).collect();
                long_run_factor(&about_local_line(&r))
            })
            .sum::<f64>()
            / f64::from(runs)
    }

    /// A piece of a switched record whose unknown first current fits its rows exactly.
    #[test]
    fn rows_without_a_residual_are_known_no_better_than_their_converter_shows_them() {
        let row = Row {
            time_s: 0.0,
            quantity: Quantity::Current,
            segment: 0,
            samples: 1,
            recorded: 0.4,
            predicted: 0.4,
            zero_uncertainty: None,
        };
        let step = 8e-3;
        let scatter = scatter_of_residuals(&[row], &[0.0], [0.0, step], |_| Some(20.0));
        let sd = deviations(&[row], &scatter, [0.002, 0.01])[0];
        assert!(sd > 0.25 * step, "{sd}");
        // One row is worth one, not the twenty of a long piece.
        let scatter = scatter_of_residuals(&[row], &[0.1], [0.0, step], |_| Some(20.0));
        let sd = deviations(&[row], &scatter, [0.002, 0.01])[0];
        assert!((sd / 0.1 - 1.0).abs() < 1e-9, "{sd}");
    }

    #[test]
    fn white_noise_counts_as_it_is_and_ripple_for_less() {
        let white = mean_factor(|random, _| random.random_range(-1.0..1.0));
        assert!((white - 1.0).abs() < 0.1, "{white}");
        let ripple =
            mean_factor(|random, k| (k as f64 * 2.3).sin() + 0.1 * random.random_range(-1.0..1.0));
        assert!(ripple < 0.2, "{ripple}");
    }
}
