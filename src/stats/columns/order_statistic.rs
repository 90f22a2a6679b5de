//! A number of known rank among many, found without a copy of them: what lies outside two bounds is counted, and only what lies
//! between is kept.
//!
//! Numbers equal to a bound are counted too. Of a converter's codes, which repeat, hardly any is kept.

use crate::stats::simd;
use std::array::from_fn;

/// Numbers looked at to know where their middle lies...
const SAMPLE: usize = 1 << 14;
/// ...and the shares of them between which it is sought: three standard deviations of the share below the median of so many.
const AROUND: (f64, f64) = (0.488, 0.512);
/// Windows taken at once; what is kept of them is put down without a branch each.
const BLOCK: usize = 512;

/// Numbers taken in so far, as they lie to the bounds.
#[derive(Clone, Debug)]
pub struct OrderStatistic {
    low: f64,
    high: f64,
    below: usize,
    at_low: usize,
    between: Vec<f64>,
    /// 0 where the bounds are the same.
    at_high: usize,
}

impl OrderStatistic {
    /// Without bounds: all numbers are kept.
    pub fn anywhere() -> OrderStatistic {
        OrderStatistic::within(f64::NEG_INFINITY, f64::INFINITY)
    }

    /// Between bounds about the middle of what `of` makes of each window of `N` neighbours in `x`, as some of the windows let
    /// expect it; without bounds where there are few.
    pub fn about_middle<const N: usize>(x: &[f64], of: impl Fn([f64; N]) -> f64) -> OrderStatistic {
        let windows = (x.len() + 1).saturating_sub(N);
        if windows < 4 * SAMPLE {
            return OrderStatistic::anywhere();
        }
        let mut sample: Vec<f64> = (0..windows)
            .step_by(windows / SAMPLE)
            .map(|first| of(from_fn(|k| x[first + k])))
            .filter(|number| number.is_finite())
            .collect();
        sample.sort_unstable_by(f64::total_cmp);
        let share = |q: f64| sample.get((sample.len() as f64 * q) as usize).copied();
        match (share(AROUND.0), share(AROUND.1)) {
            (Some(low), Some(high)) => OrderStatistic::within(low, high),
            _ => OrderStatistic::anywhere(),
        }
    }

    /// Between two bounds, the lower first.
    pub fn within(low: f64, high: f64) -> OrderStatistic {
        OrderStatistic {
            low,
            high,
            below: 0,
            at_low: 0,
            between: Vec::new(),
            at_high: 0,
        }
    }

    /// Takes in what `of` makes of each window of `N` neighbours in `x`; what is not a number counts nowhere.
    pub fn take<const N: usize>(&mut self, x: &[f64], of: impl Fn([f64; N]) -> f64) {
        let (low, high) = (self.low, self.high);
        let windows = (x.len() + 1).saturating_sub(N);
        let mut kept = [0.0; BLOCK];
        for first in (0..windows).step_by(BLOCK) {
            let block = &x[first..(first + BLOCK + N - 1).min(x.len())];
            let below = simd::count(block, |w| of(w) < low);
            let to_low = simd::count(block, |w| of(w) <= low);
            self.below += below;
            self.at_low += to_low - below;
            if low == high {
                continue;
            }
            let below_high = simd::count(block, |w| of(w) < high);
            self.at_high += simd::count(block, |w| of(w) <= high) - below_high;
            if below_high == to_low {
                continue;
            }
            let mut count = 0;
            for window in block.windows(N) {
                let number = of(from_fn(|k| window[k]));
                kept[count % BLOCK] = number;
                count += usize::from(number > low && number < high);
            }
            self.between.extend_from_slice(&kept[..count]);
        }
    }

    /// Together with others taken between the same bounds.
    pub fn and(mut self, other: OrderStatistic) -> OrderStatistic {
        self.below += other.below;
        self.at_low += other.at_low;
        self.between.extend_from_slice(&other.between);
        self.at_high += other.at_high;
        self
    }

    /// The number before which `rank` others stand in increasing order; `None` where it does not lie between the bounds.
    pub fn ranked(&mut self, rank: usize) -> Option<f64> {
        let rank = rank.checked_sub(self.below)?;
        let Some(rank) = rank.checked_sub(self.at_low) else {
            return Some(self.low);
        };
        let Some(rank) = rank.checked_sub(self.between.len()) else {
            let between = self.between.as_mut_slice();
            return Some(*between.select_nth_unstable_by(rank, f64::total_cmp).1);
        };
        (rank < self.at_high).then_some(self.high)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};

    #[test]
    fn every_rank_between_the_bounds_is_the_one_by_sorting() {
        let mut random = rand::rngs::StdRng::seed_from_u64(4);
        for step in [0.0, 1e-3, 0.25, 3.0] {
            let x: Vec<f64> = (0..4000)
                .map(|_| {
                    let number: f64 = random.random_range(-1.0..1.0);
                    if step > 0.0 {
                        (number / step).round() * step
                    } else {
                        number
                    }
                })
                .collect();
            let difference = |[a, b]: [f64; 2]| b - a;
            let mut sorted: Vec<f64> = x.windows(2).map(|w| w[1] - w[0]).collect();
            sorted.sort_unstable_by(f64::total_cmp);
            for (low, high) in [(1500, 1600), (2000, 2000), (0, 3998)] {
                let (low, high) = (sorted[low], sorted[high]);
                let whole = |mut sought: OrderStatistic| {
                    sought.take(&x[..1000], difference);
                    let mut rest = OrderStatistic::within(sought.low, sought.high);
                    rest.take(&x[999..], difference);
                    sought.and(rest)
                };
                let mut sought = whole(OrderStatistic::within(low, high));
                let mut anywhere = whole(OrderStatistic::anywhere());
                for (rank, number) in sorted.iter().enumerate() {
                    let within = (low..=high).contains(number);
                    assert_eq!(sought.ranked(rank), within.then_some(*number));
                    assert_eq!(anywhere.ranked(rank), Some(*number));
                }
                assert_eq!(anywhere.ranked(sorted.len()), None);
            }
        }
    }
}
