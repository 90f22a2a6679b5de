//! Plain figures of a trace from which its role is judged.

use super::passes::{chunks, largest_median3, medians3};
use super::series::Series;
use crate::stats::affine_view::AffineView;
use crate::stats::simd;
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
        let n = x.len();
        let (first, last) = ((n / 100).clamp(3, 1000), (n / 20).clamp(3, 5000));
        let tail = x.median(n - last, n).unwrap_or(0.0);
        let (low, high) = (
            x.quantile(0, n, 0.01).unwrap_or(0.0),
            x.quantile(0, n, 0.99).unwrap_or(0.0),
        );
        let head_rows = x.rows(0, (n / 50).clamp(8, 5000));
        let head_mean = head_rows.iter().sum::<f64>() / head_rows.len().max(1) as f64;
        let head_ripple = (head_rows
            .iter()
            .map(|v| (v - head_mean).powi(2))
            .sum::<f64>()
            / head_rows.len().max(1) as f64)
            .sqrt();
        let clear = high - low > 12.0 * x.sigma;
        let limit = if clear {
            0.3 * (high - low)
        } else {
            f64::INFINITY
        };
        let moves = Moves::of(x.x(), tail, limit);
        let (peak_row, peak) = moves.excursion;
        // The third largest jump of a record of any usual length: an edge or two bounces, not one needle.
        let pairs = n.saturating_sub(1);
        let jump = moves.largest_jumps[2.min(pairs / 4)];
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
            jumps: moves.jumps,
            sigma: x.sigma,
        }
    }

    /// True when the trace stands upside down: by the level of its first rows, else by its largest excursion.
    pub fn negative(&self) -> bool {
        if self.head.abs() > 8.0 * self.sigma && self.head.abs() > 0.5 * self.tail.abs() {
            self.head < 0.0
        } else {
            self.high.abs() < self.low.abs() && self.low < 0.0
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

/// How a trace moves, found in one pass.
struct Moves {
    /// First row at which the running median of three is farthest from a level, and its value; row 0 and the level when it never
    /// leaves it.
    excursion: (usize, f64),
    /// Number of neighbours that differ by more than a limit.
    jumps: usize,
    /// The three largest differences between neighbours, the largest first; 0 where there are fewer.
    largest_jumps: [f64; 3],
}

impl Moves {
    /// Differences between neighbours are taken as recorded: their size is the same either way round.
    fn of(x: AffineView, level: f64, limit: f64) -> Moves {
        let away = |value: f64| (value - level).abs();
        let found: Vec<_> = chunks(x.column(), 1)
            .map(|(first, rows)| {
                // The last row of a stretch is the first of the next, where there is one.
                let end = first + rows.len();
                let end = if end < x.len() { end - 1 } else { end };
                let far = largest_median3(x, first, end, away);
                let jumps = simd::count(rows, |[a, b]| (b - a).abs() > limit);
                ((first, end, far), jumps, largest_jumps(rows))
            })
            .collect();
        let farthest = found.iter().fold(0.0, |most: f64, f| most.max(f.0.2));
        let mut there = found.iter().filter(|f| f.0.2 == farthest && farthest > 0.0);
        let excursion = there.next().and_then(|((first, end, _), ..)| {
            medians3(x, *first, *end).find(|(_, value)| away(*value) == farthest)
        });
        Moves {
            excursion: excursion.unwrap_or((0, level)),
            jumps: found.iter().map(|f| f.1).sum(),
            largest_jumps: found
                .iter()
                .fold([0.0; 3], |top, f| f.2.into_iter().fold(top, put)),
        }
    }
}

fn largest_jumps(x: &[f64]) -> [f64; 3] {
    /// Rows looked at at once for whether one jump is large enough.
    const BLOCK: usize = 256;
    (0..x.len()).step_by(BLOCK).fold([0.0; 3], |top, from| {
        let block = &x[from..(from + BLOCK + 1).min(x.len())];
        let jump = |[a, b]: [f64; 2]| (b - a).abs();
        if simd::largest(block, jump) <= top[2] {
            return top;
        }
        block.windows(2).map(|w| jump([w[0], w[1]])).fold(top, put)
    })
}

/// Puts a jump in its place among the three largest.
fn put(mut top: [f64; 3], jump: f64) -> [f64; 3] {
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
}
