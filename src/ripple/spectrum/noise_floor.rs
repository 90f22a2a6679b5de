//! Noise floor and detection threshold of a power spectrum.
//!
//! In Gaussian noise each power is exponentially distributed about a mean that varies slowly with frequency. The mean is taken
//! from the median of a block of bins (median = ln 2 × mean), which lines of a few bins do not move. A median of `m` independent
//! powers is itself uncertain by `1/(√m ln 2)` of the mean; the tail then is no longer `exp(-T)` but, as for a ratio to a gamma variate,
//! `(1 + T/M)^-M` with `M = m (ln 2)²`, so short records get a higher threshold.

use std::f64::consts::LN_2;

/// Mean noise power over the bins, and how well it is known.
#[derive(Clone, Debug)]
pub(crate) struct Floor {
    /// In increasing order; between their centres the floor is interpolated where it is asked for.
    blocks: Vec<Block>,
    bins: usize,
    /// Independent cells searched.
    pub cells: f64,
}

/// Some neighbouring bins.
#[derive(Clone, Copy, Debug)]
struct Block {
    /// Middle, in bins.
    centre: f64,
    /// Logarithm of the mean noise power.
    log_mean: f64,
    /// Degrees of freedom `M` of that mean.
    freedom: f64,
}

impl Floor {
    /// Floor of `power` over bins `first ..`; `padding` bins make one independent cell; `looks` is the number of
    /// independent spectra searched. Bins below `first` get the floor of the first block.
    pub fn of(power: &[f64], first: usize, padding: usize, looks: f64) -> Floor {
        let cells = power.len().saturating_sub(first) as f64 / padding as f64;
        // Wide blocks for a floor that is well known, yet at least a few blocks so that it can follow the slope.
        let block = ((cells / 8.0).clamp(64.0, 1024.0) * padding as f64) as usize;
        let mut blocks = Vec::new();
        let mut start = first;
        let mut powers = Vec::new();
        while start < power.len() {
            let mut end = (start + block).min(power.len());
            if power.len() - end < block / 2 {
                end = power.len();
            }
            powers.clear();
            powers.extend_from_slice(&power[start..end]);
            let half = powers.len() / 2;
            let middle = *powers.select_nth_unstable_by(half, f64::total_cmp).1;
            blocks.push(Block {
                centre: (start + end) as f64 / 2.0,
                log_mean: (middle / LN_2).max(f64::MIN_POSITIVE).ln(),
                freedom: ((end - start) as f64 / padding as f64 * LN_2 * LN_2).max(1.0),
            });
            start = end;
        }
        let looks = if blocks.is_empty() { 1.0 } else { looks };
        Floor {
            blocks,
            bins: power.len(),
            cells: (cells * looks).max(1.0),
        }
    }

    /// Mean noise power at a bin.
    pub fn mean(&self, bin: usize) -> f64 {
        self.at(bin, self.block_before(bin)).0
    }

    /// Mean noise power at each bin, and the power there that noise alone exceeds anywhere in the band with probability `rate`.
    pub fn means_and_thresholds(&self, rate: f64) -> impl Iterator<Item = (f64, f64)> {
        // Freedom and growth of the floor from bin to bin are the same over whole blocks, so power and exponential are taken once a block.
        let (mut factor, mut growth, mut floor) = (0.0, 1.0, (0.0, f64::NAN));
        let (mut block, mut known) = (0, usize::MAX);
        (0..self.bins).map(move |bin| {
            while block + 2 < self.blocks.len() && bin as f64 > self.blocks[block + 1].centre {
                block += 1;
            }
            let [from, to] =
                [block, block + 1].map(|k| self.blocks.get(k).map_or(0.0, |b| b.centre));
            if block == known && bin as f64 > from + 1.0 && bin as f64 <= to {
                floor.0 *= growth;
                return (floor.0, floor.0 * factor);
            }
            let m = floor.1;
            floor = self.at(bin, block);
            if floor.1 != m {
                factor = floor.1 * ((self.cells / rate).powf(1.0 / floor.1) - 1.0);
            }
            if block != known {
                known = block;
                growth = self.at(from as usize + 2, block).0 / self.at(from as usize + 1, block).0;
            }
            (floor.0, floor.0 * factor)
        })
    }

    /// The thresholds alone.
    pub fn thresholds(&self, rate: f64) -> impl Iterator<Item = f64> {
        self.means_and_thresholds(rate)
            .map(|(_, threshold)| threshold)
    }

    /// Probability that noise alone makes such a power anywhere in the band.
    pub fn false_alarm(&self, bin: usize, power: f64) -> f64 {
        let (mean, m) = self.at(bin, self.block_before(bin));
        (self.cells * (1.0 + power / mean / m).powf(-m)).min(1.0)
    }

    /// The block from whose centre on a bin is interpolated; the last but one at most.
    fn block_before(&self, bin: usize) -> usize {
        let later = self.blocks.get(1..).unwrap_or_default();
        let passed = later.partition_point(|block| block.centre < bin as f64);
        passed.min(later.len().saturating_sub(1))
    }

    /// Mean noise power at a bin behind the centre of `block`, and its degrees of freedom.
    fn at(&self, bin: usize, block: usize) -> (f64, f64) {
        let Some(here) = self.blocks.get(block) else {
            return (f64::MIN_POSITIVE, 1.0);
        };
        let next = self.blocks.get(block + 1).unwrap_or(here);
        let span = next.centre - here.centre;
        let part = if span > 0.0 {
            ((bin as f64 - here.centre) / span).clamp(0.0, 1.0)
        } else {
            0.0
        };
        // Between blocks the logarithm is interpolated: the floor is a power.
        let mean = (here.log_mean * (1.0 - part) + next.log_mean * part).exp();
        (mean, here.freedom.min(next.freedom))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng, rngs::StdRng};

    #[test]
    fn exponential_powers_exceed_the_threshold_at_the_stated_rate() {
        let mut random = StdRng::seed_from_u64(7);
        let (mut alarms, spectra) = (0, 400);
        for _ in 0..spectra {
            let power: Vec<f64> = (0..2000)
                .map(|k| -(1.0 - random.random::<f64>()).ln() * (1.0 + f64::from(k) / 500.0))
                .collect();
            let floor = Floor::of(&power, 8, 1, 1.0);
            let thresholds = floor.thresholds(0.05);
            if power.iter().zip(thresholds).skip(8).any(|(p, t)| *p > t) {
                alarms += 1;
            }
        }
        // 0.05 of 400 is 20, standard deviation 4.4.
        assert!(
            (7..=34).contains(&alarms),
            "{alarms} alarms in {spectra} spectra at a rate of 0.05"
        );
    }
}
