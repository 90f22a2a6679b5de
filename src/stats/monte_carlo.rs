//! Propagation of distributions by Monte Carlo and its coverage intervals (JCGM 101:2008).
//!
//! For quantities that bend over the range of their inputs, such as a no-load speed through a poorly known friction,
//! where the first-order law gives a wrong width and a symmetric interval.

use super::{StatsError, open_probability};

/// Outcomes of one quantity, sorted; those that could not be computed are counted apart.
#[derive(Debug, Clone, PartialEq)]
pub struct Outcomes {
    sorted: Vec<f64>,
    /// Trials whose outcome was not a finite number. They are in no mean and no interval, so a result with many of
    /// them describes only the part of the inputs for which the quantity exists.
    pub undefined: usize,
}

/// A quantity as Monte Carlo gives it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Summary {
    /// Mean of the outcomes.
    pub value: f64,
    /// Their standard deviation.
    pub standard_uncertainty: f64,
    /// Lower bound of the interval.
    pub lower: f64,
    /// Upper bound of the interval.
    pub upper: f64,
}

/// How far chance may move a bound of `draws` outcomes, twice its standard deviation as a share of the half width of the interval at `level`,
/// for normal outcomes: 2 √(p (1 − p)/M)/(φ(z) z), p = (1 + level)/2 (standard deviation of a sample quantile, H. A. David, Order Statistics,
/// from memory). JCGM 101:2008, 7.9.4, compares twice that standard deviation with the numerical tolerance of 7.9.2.
pub fn bound_tolerance(draws: usize, level: f64) -> f64 {
    let p = 0.5 + 0.5 * level;
    let z = super::quantiles::normal_quantile(p);
    let density = (-0.5 * z * z).exp() / (2.0 * std::f64::consts::PI).sqrt();
    2.0 * (p * (1.0 - p) / draws as f64).sqrt() / (density * z)
}

impl Outcomes {
    /// Takes the outcomes of all trials.
    ///
    /// # Errors
    /// When fewer than two are finite.
    pub fn new(values: impl IntoIterator<Item = f64>) -> Result<Self, StatsError> {
        let mut undefined = 0;
        let mut sorted: Vec<f64> = values
            .into_iter()
            .filter(|value| {
                undefined += usize::from(!value.is_finite());
                value.is_finite()
            })
            .collect();
        if sorted.len() < 2 {
            return Err(StatsError::TooFew {
                what: "finite Monte Carlo outcomes",
                found: sorted.len(),
                needed: 2,
            });
        }
        sorted.sort_by(f64::total_cmp);
        Ok(Outcomes { sorted, undefined })
    }

    /// Number of finite outcomes.
    pub fn count(&self) -> usize {
        self.sorted.len()
    }

    /// Share of the finite outcomes for which `holds`.
    pub fn share(&self, holds: impl Fn(f64) -> bool) -> f64 {
        let count = self.sorted.iter().filter(|value| holds(**value)).count();
        count as f64 / self.sorted.len() as f64
    }

    /// Mean (JCGM 101, eq. 16).
    pub fn mean(&self) -> f64 {
        self.sorted.iter().sum::<f64>() / self.sorted.len() as f64
    }

    /// Standard uncertainty (JCGM 101, eq. 17).
    pub fn standard_uncertainty(&self) -> f64 {
        let mean = self.mean();
        let sum: f64 = self.sorted.iter().map(|y| (y - mean).powi(2)).sum();
        (sum / (self.sorted.len() - 1) as f64).sqrt()
    }

    /// Mean, standard uncertainty and the interval with equal probability left out at both ends.
    ///
    /// # Errors
    /// As [`percentile_interval`](Self::percentile_interval).
    pub fn summary(&self, level: f64) -> Result<Summary, StatsError> {
        let (lower, upper) = self.percentile_interval(level)?;
        Ok(Summary {
            value: self.mean(),
            standard_uncertainty: self.standard_uncertainty(),
            lower,
            upper,
        })
    }

    /// Interval with equal probability left out at both ends (JCGM 101, 7.7.2).
    ///
    /// # Errors
    /// For a level outside 0 to 1 or one that the number of trials cannot resolve.
    pub fn percentile_interval(&self, level: f64) -> Result<(f64, f64), StatsError> {
        let inside = self.count_inside(level)?;
        let left_out = self.sorted.len() - inside;
        // The standard's r = (M − q + 1)/2, rounded down, counted here from zero.
        let first = left_out.div_ceil(2).max(1) - 1;
        Ok((self.sorted[first], self.sorted[first + inside]))
    }

    /// Shortest interval of this level (JCGM 101, 7.7.4). Where the distribution is flat at both ends its place is
    /// poorly determined though its length is not.
    ///
    /// # Errors
    /// As [`percentile_interval`](Self::percentile_interval).
    pub fn shortest_interval(&self, level: f64) -> Result<(f64, f64), StatsError> {
        let inside = self.count_inside(level)?;
        let mut best = (self.sorted[0], self.sorted[inside]);
        for (low, high) in self.sorted.iter().zip(&self.sorted[inside..]) {
            if high - low < best.1 - best.0 {
                best = (*low, *high);
            }
        }
        Ok(best)
    }

    /// q of JCGM 101, 7.7.1: the number of steps between the ends of an interval.
    fn count_inside(&self, level: f64) -> Result<usize, StatsError> {
        open_probability("level", level)?;
        let trials = self.sorted.len();
        let inside = (level * trials as f64 + 0.5).floor() as usize;
        if inside >= trials {
            let missing = 1.0 / (1.0 - level);
            return Err(StatsError::TooFew {
                what: "Monte Carlo trials for this level",
                found: trials,
                needed: missing.ceil() as usize,
            });
        }
        Ok(inside)
    }
}
