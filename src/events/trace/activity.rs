//! How lively a trace is along its record: a current ripples while the rotor turns, and shows its noise alone while it stands.

use super::quantile::quantile;
use super::series::Series;
use crate::stats::simd;

/// Blocks into which the record is cut.
const BLOCKS: usize = 64;
/// Blocks that make the beginning, and the end.
const HEAD: usize = 1;
const TAIL: usize = 8;

/// Level and scatter of a stretch.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Stretch {
    pub level: f64,
    /// Root mean square about the straight line through each block; the median over the blocks.
    pub scatter: f64,
}

/// Levels and scatters of the blocks of a trace, in time order.
#[derive(Clone, Debug)]
pub(crate) struct Activity {
    pub levels: Vec<f64>,
    scatters: Vec<f64>,
    /// Scatter that noise and code steps alone make.
    noise: f64,
}

impl Activity {
    pub fn of(x: &Series) -> Activity {
        let size = (x.len() / BLOCKS).max(4);
        let blocks = (0..x.len() / size).map(|k| {
            let rows = x.rows(k * size, (k + 1) * size);
            let middle = 0.5 * (size as f64 - 1.0);
            let level = rows.iter().sum::<f64>() / size as f64;
            let (mut square, mut along, mut times) = (0.0, 0.0, 0.0);
            for (k, value) in rows.iter().enumerate() {
                let (t, d) = (k as f64 - middle, value - level);
                square += d * d;
                along += t * d;
                times += t * t;
            }
            let left = square - along * along / times;
            (level, (left.max(0.0) / size as f64).sqrt())
        });
        let (levels, scatters) = blocks.unzip();
        Activity {
            levels,
            scatters,
            noise: x.sigma,
        }
    }

    pub fn head(&self) -> Stretch {
        self.stretch(0, HEAD)
    }

    pub fn tail(&self) -> Stretch {
        let count = self.levels.len();
        self.stretch(count.saturating_sub(TAIL), count)
    }

    fn stretch(&self, from: usize, to: usize) -> Stretch {
        let to = to.min(self.levels.len());
        let middle = |x: &[f64]| quantile(&x[from..to], 0.5).unwrap_or(0.0);
        Stretch {
            level: middle(&self.levels),
            scatter: middle(&self.scatters),
        }
    }

    /// Whether a scatter is more than white noise.
    pub fn is_lively(&self, scatter: f64) -> bool {
        scatter > 1.5 * self.noise
    }

    /// Whether two levels differ by more than noise and ripple leave open.
    pub fn differ(&self, one: Stretch, other: Stretch) -> bool {
        let scatter = one.scatter.max(other.scatter).max(self.noise);
        (one.level - other.level).abs() > 0.25 * scatter
    }

    /// Blocks whose level lies well between those of the beginning and the end.
    pub fn between(&self) -> usize {
        let (head, tail) = (self.head().level, self.tail().level);
        let share = |level: &&f64| (0.2..0.8).contains(&((*level - tail) / (head - tail)));
        self.levels.iter().filter(share).count()
    }

    /// Whether all blocks ripple alike about one level.
    pub fn repeats(&self) -> bool {
        let (low, high) = simd::range(&self.scatters);
        let (lowest, highest) = simd::range(&self.levels);
        self.is_lively(low) && high < 2.5 * low && highest - lowest < low
    }
}
