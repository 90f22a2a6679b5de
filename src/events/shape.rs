//! Plain figures of a trace from which its role is judged.

use super::series::{Series, medians3, stretches};
use rayon::prelude::*;

/// Levels of one trace.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Shape {
    /// Median of the first hundredth.
    pub head: f64,
    /// Median of the last twentieth.
    pub tail: f64,
    /// Levels that 1 % of the rows fall below and exceed.
    pub low: f64,
    pub high: f64,
    /// Row and value of the largest excursion from the tail (needles ignored).
    pub peak_row: usize,
    pub peak: f64,
    /// Standard deviation of the first fiftieth and its mean.
    pub head_ripple: f64,
    pub head_mean: f64,
    /// Size of the largest jumps between neighbours, as a share of the range.
    pub jump: f64,
    /// Number of neighbours that differ by more than 30 % of the range, where the range stands clear of the noise.
    pub jumps: usize,
    pub sigma: f64,
}

impl Shape {
    pub fn of(x: &Series) -> Shape {
        *x.shape.get_or_init(|| Shape::worked_out(x))
    }

    fn worked_out(x: &Series) -> Shape {
        let n = x.len();
        let (first, last) = ((n / 100).clamp(3, 1000), (n / 20).clamp(3, 5000));
        let tail = x.median(n - last, n).unwrap_or(0.0);
        let (low, high) = (
            x.quantile(0, n, 0.01).unwrap_or(0.0),
            x.quantile(0, n, 0.99).unwrap_or(0.0),
        );
        let (peak_row, peak) = largest_excursion(x, tail);
        let head_rows = x.rows(0, (n / 50).clamp(8, 5000));
        let head_mean = head_rows.iter().sum::<f64>() / head_rows.len().max(1) as f64;
        let head_ripple = (head_rows
            .iter()
            .map(|v| (v - head_mean).powi(2))
            .sum::<f64>()
            / head_rows.len().max(1) as f64)
            .sqrt();
        let clear = high - low > 12.0 * x.sigma;
        let limit = 0.3 * (high - low);
        let count = if clear {
            stretches(&x.x, 1)
                .map(|(_, x)| x.windows(2).filter(|w| (w[1] - w[0]).abs() > limit).count())
                .sum()
        } else {
            0
        };
        // The third largest jump of a record of any usual length: an edge or two bounces, not one needle.
        let pairs = n.saturating_sub(1);
        let jump = largest_jumps(&x.x)[2.min(pairs / 4)];
        Shape {
            head: x.median(0, first).unwrap_or(0.0),
            tail,
            low,
            high,
            peak_row,
            peak,
            head_ripple,
            head_mean,
            jump: if clear { jump / (high - low) } else { 0.0 },
            jumps: count,
            sigma: x.sigma,
        }
    }

    /// Largest size of the levels.
    pub fn top(&self) -> f64 {
        self.low.abs().max(self.high.abs())
    }

    /// The level farther from zero, without kicks.
    pub fn peak_level(&self) -> f64 {
        if self.high.abs() >= self.low.abs() {
            self.high
        } else {
            self.low
        }
    }

    /// Largest level seen from `zero`, with its sign.
    pub fn peak_from(&self, zero: f64) -> f64 {
        if self.high - zero >= zero - self.low {
            self.high - zero
        } else {
            self.low - zero
        }
    }
}

/// First row at which the running median of three is farthest from `tail`, and its value; row 0 and `tail` when it never
/// leaves it.
fn largest_excursion(x: &Series, tail: f64) -> (usize, f64) {
    stretches(&x.x, 0)
        .map(|(first, rows)| {
            medians3(&x.x, first, first + rows.len()).fold((0, tail), |(row, peak), (k, value)| {
                if (value - tail).abs() > (peak - tail).abs() {
                    (k, value)
                } else {
                    (row, peak)
                }
            })
        })
        .reduce(
            || (0, tail),
            |a, b| {
                let (of_a, of_b) = ((a.1 - tail).abs(), (b.1 - tail).abs());
                if of_b > of_a || (of_b == of_a && of_b > 0.0 && b.0 < a.0) {
                    b
                } else {
                    a
                }
            },
        )
}

/// The three largest differences between neighbours, the largest first; 0 where there are fewer.
fn largest_jumps(x: &[f64]) -> [f64; 3] {
    let put = |mut top: [f64; 3], jump: f64| {
        if jump > top[2] {
            top[2] = jump;
            if jump > top[1] {
                top.swap(1, 2);
                if jump > top[0] {
                    top.swap(0, 1);
                }
            }
        }
        top
    };
    stretches(x, 1)
        .map(|(_, x)| {
            x.windows(2)
                .fold([0.0; 3], |top, w| put(top, (w[1] - w[0]).abs()))
        })
        .reduce(|| [0.0; 3], |a, b| b.into_iter().fold(a, put))
}
