//! Block means of an open-terminal voltage: its level, whether it is one of a run-down, and where the rotor stands.

use crate::events::RowTimes;
use crate::ripple::error::Unreadable;
use crate::stats::affine_view::AffineView;

/// Block means of a record.
pub(crate) struct Blocks {
    level: Vec<f64>,
    /// Samples a block.
    pub samples: usize,
    /// Standard deviation within a block about its own straight line, median over blocks: noise and ripple together.
    pub noise: f64,
}

impl Blocks {
    pub fn of(time: RowTimes, values: AffineView) -> Blocks {
        let samples = (values.len() / 100).max(8);
        let (mut level, mut spreads) = (Vec::new(), Vec::new());
        let (mut t, mut v) = (Vec::new(), Vec::new());
        for block in (0..values.len() / samples).map(|k| k * samples..(k + 1) * samples) {
            // Gone through twice: put down once, a block at a time.
            t.clear();
            t.extend(time.slice(block.clone()).iter());
            v.clear();
            v.extend(values.slice(block).iter());
            let n = samples as f64;
            let (mt, mv) = (t.iter().sum::<f64>() / n, v.iter().sum::<f64>() / n);
            let (mut tt, mut tv, mut vv) = (0.0, 0.0, 0.0);
            for (t, v) in t.iter().zip(&v) {
                tt += (t - mt).powi(2);
                tv += (t - mt) * (v - mv);
                vv += (v - mv).powi(2);
            }
            level.push(mv);
            spreads.push(((vv - tv * tv / tt).max(0.0) / n).sqrt());
        }
        let middle = spreads.len() / 2;
        let noise = *spreads.select_nth_unstable_by(middle, f64::total_cmp).1;
        Blocks {
            level,
            samples,
            noise,
        }
    }

    /// Mean of the first two blocks.
    pub fn start(&self) -> f64 {
        (self.level[0] + self.level[1]) / 2.0
    }

    /// The same with the sign turned.
    pub fn negated(mut self) -> Blocks {
        self.level.iter_mut().for_each(|v| *v = -*v);
        self
    }

    /// Refuses a voltage seen through a coupling capacitor, and one within its noise.
    pub fn check_level(&self) -> Result<(), Unreadable> {
        let start_v = self.start();
        let (lowest, highest) = self
            .level
            .iter()
            .fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(*v), b.max(*v)));
        let reach = lowest.abs().max(highest.abs());
        // Zero at the start, then far from zero: the steady level was blocked by the coupling capacitor; likewise a sign change.
        let from_zero = start_v.abs() < 0.3 * reach;
        let changes_sign = lowest < -0.1 * reach && highest > 0.1 * reach;
        if reach > 20.0 * self.noise / (self.samples as f64).sqrt() && (changes_sign || from_zero) {
            let far = if lowest.abs() > highest.abs() {
                lowest
            } else {
                highest
            };
            let last = self.level[self.level.len() - 1];
            return Err(Unreadable::AcCoupled {
                start_v,
                end_v: if from_zero { far } else { last },
            });
        }
        if start_v.abs() < 8.0 * self.noise / (self.samples as f64).sqrt()
            || start_v.abs() < 2.0 * self.noise
        {
            return Err(Unreadable::NoVoltage {
                level_v: start_v,
                noise_v: self.noise,
            });
        }
        Ok(())
    }

    /// Number of blocks before the first one below a level; `None` where none is.
    pub fn turning(&self, least_v: f64) -> Option<usize> {
        self.level.iter().position(|v| *v < least_v)
    }

    /// First block of a flat end near zero and its mean level; `cut`: the first block that may belong to it.
    pub fn standstill(&self, start: f64, cut: usize) -> Option<(usize, f64)> {
        let levels = &self.level;
        let count = levels.len();
        if count < cut + 4 {
            return None;
        }
        let tail = &levels[count - 3..];
        let level = tail.iter().sum::<f64>() / 3.0;
        let spread = (4.0 * self.noise / (self.samples as f64).sqrt()).max(0.002 * start);
        if level.abs() > 0.08 * start {
            return None;
        }
        let mut first = count;
        while first > cut && (levels[first - 1] - level).abs() < spread {
            first -= 1;
        }
        // The block in which the rotor stops still holds a little of the slope.
        let first = first + 1;
        (first + 3 <= count).then(|| {
            (
                first,
                levels[first..].iter().sum::<f64>() / (count - first) as f64,
            )
        })
    }
}
