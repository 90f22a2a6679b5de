//! Plain figures of a trace from which its role is judged.

use super::series::Series;

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
        let n = x.len();
        let (first, last) = ((n / 100).clamp(3, 1000), (n / 20).clamp(3, 5000));
        let tail = x.median(n - last, n).unwrap_or(0.0);
        let (low, high) = (
            x.quantile(0, n, 0.01).unwrap_or(0.0),
            x.quantile(0, n, 0.99).unwrap_or(0.0),
        );
        let (mut peak_row, mut peak) = (0, tail);
        for row in 0..n {
            let value = x.median3(row);
            if (value - tail).abs() > (peak - tail).abs() {
                (peak_row, peak) = (row, value);
            }
        }
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
            x.x.windows(2)
                .filter(|w| (w[1] - w[0]).abs() > limit)
                .count()
        } else {
            0
        };
        let mut jumps: Vec<f64> = x.x.windows(2).map(|w| (w[1] - w[0]).abs()).collect();
        // The tenth largest jump of a record of any usual length: an edge or two bounces, not one needle.
        let place = jumps.len().saturating_sub(1 + 2.min(jumps.len() / 4));
        let jump = if jumps.is_empty() {
            0.0
        } else {
            *jumps.select_nth_unstable_by(place, f64::total_cmp).1
        };
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
