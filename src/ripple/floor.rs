//! Noise floor and detection threshold of a power spectrum.
//!
//! In Gaussian noise each power is exponentially distributed about a mean that varies slowly with frequency. The mean is taken
//! from the median of a block of bins (median = ln 2 × mean), which lines of a few bins do not move. A median of `m` independent
//! powers is itself uncertain by `1/(√m ln 2)` of the mean; the tail then is no longer `exp(-T)` but, as for a ratio to a gamma variate,
//! `(1 + T/M)^-M` with `M = m (ln 2)²`, so short records get a higher threshold.

use std::f64::consts::LN_2;

/// Mean noise power by bin, and how well it is known.
#[derive(Clone, Debug)]
pub(super) struct Floor {
    pub mean: Vec<f64>,
    /// Degrees of freedom `M` of the floor, by bin.
    pub freedom: Vec<f64>,
    /// Independent cells searched.
    pub cells: f64,
}

impl Floor {
    /// Floor of `power` over bins `first ..`; `padding` bins make one independent cell; `looks` is the number of
    /// independent spectra searched. Bins below `first` get the floor of the first block.
    pub fn of(power: &[f64], first: usize, padding: usize, looks: f64) -> Floor {
        let cells = power.len().saturating_sub(first) as f64 / padding as f64;
        // Wide blocks for a floor that is well known, yet at least a few blocks so that it can follow the slope.
        let block = ((cells / 8.0).clamp(64.0, 1024.0) * padding as f64) as usize;
        let (mut centres, mut levels, mut freedoms) = (Vec::new(), Vec::new(), Vec::new());
        let mut start = first;
        while start < power.len() {
            let mut end = (start + block).min(power.len());
            if power.len() - end < block / 2 {
                end = power.len();
            }
            let mut block_powers = power[start..end].to_vec();
            let half = block_powers.len() / 2;
            let middle = *block_powers.select_nth_unstable_by(half, f64::total_cmp).1;
            centres.push((start + end) as f64 / 2.0);
            levels.push((middle / LN_2).max(f64::MIN_POSITIVE));
            freedoms.push(((end - start) as f64 / padding as f64 * LN_2 * LN_2).max(1.0));
            start = end;
        }
        if centres.is_empty() {
            let level = f64::MIN_POSITIVE;
            return Floor {
                mean: vec![level; power.len()],
                freedom: vec![1.0; power.len()],
                cells: cells.max(1.0),
            };
        }
        let logs: Vec<f64> = levels.iter().map(|l| l.ln()).collect();
        let mut mean = Vec::with_capacity(power.len());
        let mut freedom = Vec::with_capacity(power.len());
        let mut block = 0;
        for bin in 0..power.len() {
            let at = bin as f64;
            while block + 2 < centres.len() && at > centres[block + 1] {
                block += 1;
            }
            let next = (block + 1).min(centres.len() - 1);
            let span = centres[next] - centres[block];
            let part = if span > 0.0 {
                ((at - centres[block]) / span).clamp(0.0, 1.0)
            } else {
                0.0
            };
            // Between blocks the logarithm is interpolated: the floor is a power.
            mean.push((logs[block] * (1.0 - part) + logs[next] * part).exp());
            freedom.push(freedoms[block].min(freedoms[next]));
        }
        Floor {
            mean,
            freedom,
            cells: (cells * looks).max(1.0),
        }
    }

    /// Power at each bin that noise alone exceeds anywhere in the band with probability `rate`.
    pub fn thresholds(&self, rate: f64) -> impl Iterator<Item = f64> {
        // The freedom is the same over whole blocks, so the power is taken once a block.
        let (mut known, mut factor) = (f64::NAN, 0.0);
        self.mean.iter().zip(&self.freedom).map(move |(mean, &m)| {
            if m != known {
                (known, factor) = (m, m * ((self.cells / rate).powf(1.0 / m) - 1.0));
            }
            mean * factor
        })
    }

    /// Probability that noise alone makes such a power anywhere in the band.
    pub fn false_alarm(&self, bin: usize, power: f64) -> f64 {
        let m = self.freedom[bin];
        (self.cells * (1.0 + power / self.mean[bin] / m).powf(-m)).min(1.0)
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
