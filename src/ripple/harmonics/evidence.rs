//! Sums of the harmonic pattern's evidence over a group of lines, for every scale and fall at once.
//!
//! A line of order o with normalised power P adds `P s/(1+s) - ln(1+s)`, `s = s_k o^(-2 fall)`, for each scale k. Scales stand
//! evenly on a logarithmic axis, so a line of another order only shifts the same two curves along it: weak lines, nearly all, are first
//! collected in bins of ln o and the curves read once a bin. Strong ones are added one by one.

/// Scales, as a fraction of the EMF: 3e-6 to 0.3.
pub(crate) const SCALES: usize = 32;
/// Amplitude against order.
pub(crate) const FALLS: [f64; 4] = [0.0, 0.5, 1.0, 2.0];
/// Twice the falls above 0, in whole numbers: a bin of ln o shifts the curves by so many of their steps.
const SHIFTS: [usize; 3] = [1, 2, 4];
/// Steps of the curves in a step of the scale's logarithm.
const FINE: usize = 16;
/// Bins of ln o, enough for any order below e^(BINS/FINE·0.74).
const BINS: usize = 256;
/// Powers above this are added one by one: a bin is right to about 1e-6 of a power.
const STRONG: f64 = 40.0;
/// Steps of the scale (a factor 1.45 each) over which the lines of a group lie about their common scale, and how many are looked at to
/// either side (common practice, no source): coils differ as they happen to, and one line may stand ten times above its neighbours.
const SPREAD_STEPS: f64 = 1.3;
const SPREAD: usize = 10;

const AROUND: usize = SCALES + 2 * SPREAD;

/// Sums by fall and scale.
#[derive(Clone)]
pub(crate) struct Sums(pub [[f64; SCALES]; FALLS.len()]);

impl Default for Sums {
    fn default() -> Sums {
        Sums([[0.0; SCALES]; FALLS.len()])
    }
}

/// The scales and their curves.
pub(crate) struct Ladder {
    /// Mean square signal-to-noise at order 1, by scale.
    ratios: [f64; SCALES],
    /// `s/(1+s)` and `ln(1+s)`; entry `[r][k]` at `ln s = ln s_0 + (k - PAST)·step + r·step/FINE`.
    parts: Vec<[f64; CURVE]>,
    logs: Vec<[f64; CURVE]>,
    /// The same with [`SPREAD`] further scales at either end.
    around: [f64; AROUND],
    /// Weights of the scales about that of its group that a strong line may have.
    spread: [f64; 2 * SPREAD + 1],
    /// First bin and weights of the four bins of each order m/2, by m.
    places: Vec<(usize, [f64; 4])>,
}

/// Whole steps by which a curve can be shifted.
const PAST: usize = SHIFTS[2] * (BINS + FINE) / FINE;
const CURVE: usize = SCALES + PAST;

impl Ladder {
    /// `gain`: signal-to-noise of a line of unit relative amplitude; lines of order m/2 up to `most_m` come quickly.
    pub fn new(gain: f64, most_m: usize) -> Ladder {
        let scale = |k: f64| 3e-6 * 1e5f64.powf(k / (SCALES - 1) as f64);
        // Mean square of a complex Gaussian amplitude of scale a is 2a².
        let ratio = |k: f64| 2.0 * scale(k).powi(2) * gain;
        let curves = |of: &dyn Fn(f64) -> f64| -> Vec<[f64; CURVE]> {
            let at = |r: usize, k: usize| k as f64 - PAST as f64 + r as f64 / FINE as f64;
            (0..FINE)
                .map(|r| std::array::from_fn(|k| of(ratio(at(r, k)))))
                .collect()
        };
        let bins_per_log = FINE as f64 / (ratio(1.0) / ratio(0.0)).ln();
        let places = (0..=most_m)
            .map(|m| (m.max(2) as f64 / 2.0).ln() * bins_per_log)
            .map(|place| (place as usize, cubic(place.fract())))
            .collect();
        let falls: [f64; 2 * SPREAD + 1] =
            std::array::from_fn(|k| (-(k as f64 - SPREAD as f64).abs() / SPREAD_STEPS).exp());
        let total: f64 = falls.iter().sum();
        Ladder {
            spread: falls.map(|f| f / total),
            ratios: std::array::from_fn(|k| ratio(k as f64)),
            around: std::array::from_fn(|k| ratio(k as f64 - SPREAD as f64)),
            parts: curves(&|s| s / (1.0 + s)),
            logs: curves(&f64::ln_1p),
            places,
        }
    }

    /// Sums over (order, power), each line for itself.
    pub fn sum_of(&self, lines: impl Iterator<Item = (f64, f64)>) -> Sums {
        let mut sums = Sums::default();
        // Σ ln(1 + s) as the logarithm of a product, taken before it can overflow: one multiplication a term.
        let mut products = [[1.0; SCALES]; FALLS.len()];
        for (order, power) in lines {
            let root = order.recip();
            let shrinks = [1.0, root, root * root, (root * root).powi(2)];
            if power > STRONG {
                for (shrink, sum) in shrinks.iter().zip(&mut sums.0) {
                    self.add_strong(power, *shrink, sum);
                }
                continue;
            }
            for ((shrink, sum), product) in shrinks.iter().zip(&mut sums.0).zip(&mut products) {
                for k in 0..SCALES {
                    let s = self.ratios[k] * shrink;
                    let above = 1.0 + s;
                    sum[k] += power * s / above;
                    product[k] *= above;
                }
                if product[SCALES - 1] > 1e200 {
                    flush(sum, product);
                }
            }
        }
        for (sum, product) in sums.0.iter_mut().zip(&mut products) {
            flush(sum, product);
        }
        sums
    }

    /// A line that stands out: its own scale lies about that of its group.
    fn add_strong(&self, power: f64, shrink: f64, sum: &mut [f64; SCALES]) {
        let curve: [f64; AROUND] = std::array::from_fn(|k| {
            let s = self.around[k] * shrink;
            power * s / (1.0 + s) - s.ln_1p()
        });
        // The curve rises to one peak and falls: from the largest of some neighbours on, each is the one before times a factor of 1 at most.
        let factors: [f64; AROUND - 1] =
            std::array::from_fn(|k| (-(curve[k + 1] - curve[k]).abs()).exp());
        let peak = (1..AROUND).take_while(|k| curve[*k] > curve[k - 1]).count();
        for (k, sum) in sum.iter_mut().enumerate() {
            let end = k + 2 * SPREAD;
            let top = peak.clamp(k, end);
            let mut mean = self.spread[top - k];
            let mut share = 1.0;
            for j in (k..top).rev() {
                share *= factors[j];
                mean += self.spread[j - k] * share;
            }
            share = 1.0;
            for j in top..end {
                share *= factors[j];
                mean += self.spread[j + 1 - k] * share;
            }
            *sum += curve[top] + mean.ln();
        }
    }

    /// Sums over (m, power) with the order m/2.
    pub fn sums(&self, lines: impl Iterator<Item = (usize, f64)>) -> Sums {
        // Power and number of lines by bin.
        let mut bins = [(0.0, 0.0); BINS + 4];
        let mut strong = Vec::new();
        let (mut power_in_all, mut count) = (0.0, 0.0);
        let mut last = 0;
        for (m, power) in lines {
            let (first, weights) = match self.places.get(m) {
                Some((first, weights)) if power <= STRONG && *first < BINS => (*first, weights),
                _ => {
                    strong.push((m as f64 / 2.0, power));
                    continue;
                }
            };
            power_in_all += power;
            count += 1.0;
            last = last.max(first + 3);
            for (cell, weight) in bins[first..first + 4].iter_mut().zip(weights) {
                cell.0 += weight * power;
                cell.1 += weight;
            }
        }
        let mut sums = if strong.is_empty() {
            Sums::default()
        } else {
            self.sum_of(strong.into_iter())
        };
        for (sum, ratio) in sums.0[0].iter_mut().zip(&self.ratios) {
            *sum += power_in_all * ratio / (1.0 + ratio) - count * ratio.ln_1p();
        }
        for (sum, shift) in sums.0[1..].iter_mut().zip(SHIFTS) {
            let filled = bins[..=last].iter().enumerate().filter(|b| b.1.1 != 0.0);
            for (bin, (power, count)) in filled {
                // The first bin lies one before order 1.
                let down = shift * bin;
                let start = FINE * PAST + shift - down;
                let parts = &self.parts[start % FINE][start / FINE..][..SCALES];
                let logs = &self.logs[start % FINE][start / FINE..][..SCALES];
                for k in 0..SCALES {
                    sum[k] += power * parts[k] - count * logs[k];
                }
            }
        }
        sums
    }
}

/// Takes the logarithms of the products off the sums.
fn flush(sum: &mut [f64; SCALES], product: &mut [f64; SCALES]) {
    for (sum, product) in sum.iter_mut().zip(product) {
        *sum -= product.ln();
        *product = 1.0;
    }
}

/// Weights of the four places -1, 0, 1, 2 for a place `t` of 0 .. 1 (Lagrange).
pub(crate) fn cubic(t: f64) -> [f64; 4] {
    [
        -t * (t - 1.0) * (t - 2.0) / 6.0,
        (t + 1.0) * (t - 1.0) * (t - 2.0) / 2.0,
        -(t + 1.0) * t * (t - 2.0) / 2.0,
        (t + 1.0) * t * (t - 1.0) / 6.0,
    ]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bins_say_the_same_as_the_lines_one_by_one() {
        let ladder = Ladder::new(3e8, 5000);
        let lines = |from: usize| {
            (from..6000).step_by(2).map(|m| {
                // Powers of noise, and a strong line here and there.
                let noise = -((m * 7919 % 1000) as f64 / 1000.0 + 5e-4).ln();
                (m, if m % 240 == 0 { 4e4 } else { noise })
            })
        };
        for from in [2, 3] {
            let quick = ladder.sums(lines(from));
            let one_by_one = ladder.sum_of(lines(from).map(|(m, p)| (m as f64 / 2.0, p)));
            for (quick, slow) in quick.0.iter().zip(&one_by_one.0) {
                for (q, s) in quick.iter().zip(slow) {
                    assert!((q - s).abs() < 1e-3 + 1e-12 * s.abs(), "{q} against {s}");
                }
            }
        }
    }
}
