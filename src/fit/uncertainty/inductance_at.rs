//! The inductance that a small alternating current of one frequency meets, by Monte Carlo over what the fit leaves of L₀, the screened share
//! and its resistance: the share bends it too much for a linear propagation (JCGM 101:2008, 5 and 7).

use super::reported::{Interval, LARGEST_RELATIVE};
use crate::fit::estimate::Estimate;
use crate::fit::unknowns::ParameterKind;
use crate::motor::screened_share_left;
use crate::stats::covariance::NormalVectors;
use crate::stats::monte_carlo::Outcomes;
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// Draws; the bounds of a 95 % interval are then known to 2 % of its width.
const TRIALS: usize = 4000;
const SEED: u64 = 2;
/// Draws refused for each one kept, on the average, beyond which the distribution lies outside the physical range.
const MOST_REFUSED: usize = 50;

/// An inductance at a frequency.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct InductanceAt {
    /// Hz.
    pub frequency_hz: f64,
    /// H.
    pub interval: Interval,
}

impl Estimate {
    /// The series inductance at a frequency (Hz) and small current; absent where L₀ is not determined, or known to less than half of itself there.
    pub fn inductance_at(&self, frequency_hz: f64) -> Option<InductanceAt> {
        if !self.inductance_seen || frequency_hz <= 0.0 || !frequency_hz.is_finite() {
            return None;
        }
        let layout = &self.problem.layout;
        let entries = [
            layout.find(&ParameterKind::LogInductance)?,
            layout.find(&ParameterKind::EddyShare)?,
            layout.find(&ParameterKind::LogEddyResistance)?,
        ];
        let x = &self.solution.x;
        let mean = DVector::from_iterator(3, entries.iter().map(|&entry| x[entry]));
        let total = &self.covariance.total;
        let spread = DMatrix::from_fn(3, 3, |a, b| total[entries[a].with(entries[b])]);
        let normal = NormalVectors::new(mean.clone(), &spread).ok()?;
        let of = |y: &DVector<f64>| {
            let inductance_h = y[0].exp();
            inductance_h * screened_share_left(inductance_h, y[1], y[2].exp(), frequency_hz)
        };
        let bounds = &layout[entries[1]];
        let possible = |share: f64| share >= 0.0 && share <= bounds.upper;
        let mut random = StdRng::seed_from_u64(SEED);
        let mut values = Vec::with_capacity(TRIALS);
        let mut left = MOST_REFUSED * TRIALS;
        while values.len() < TRIALS {
            left = left.checked_sub(1)?;
            let y = normal.draw(&mut random);
            if possible(y[1]) {
                values.push(of(&y));
            }
        }
        let outcomes = Outcomes::new(values).ok()?;
        let (lower, upper) = outcomes.percentile_interval(self.options.level).ok()?;
        let interval = Interval {
            value: of(&mean),
            standard_uncertainty: outcomes.standard_uncertainty(),
            lower,
            upper,
        };
        let vague = interval.standard_uncertainty > LARGEST_RELATIVE * interval.value;
        (!vague && lower <= interval.value && interval.value <= upper).then_some(InductanceAt {
            frequency_hz,
            interval,
        })
    }
}
