//! The steps between listed times: which stand out, and how.

use super::backwards::BackwardsPattern;
use super::fault::TimeFault;

/// The steps between listed times, and where they stand out. Step k leads to row k + 1.
pub(super) struct Steps {
    pub sizes: Vec<f64>,
    pub typical: f64,
    pub backwards: Vec<usize>,
    pub repeated: Vec<usize>,
    /// Much longer than the typical step, in a record that is mostly even.
    pub gaps: Vec<usize>,
}

impl Steps {
    pub fn of(times: &[f64]) -> Steps {
        let sizes: Vec<f64> = times.windows(2).map(|w| w[1] - w[0]).collect();
        let those = |is: &dyn Fn(f64) -> bool| -> Vec<usize> {
            (0..sizes.len()).filter(|&k| is(sizes[k])).collect()
        };
        let typical = median(&mut sizes.clone());
        let close = those(&|s| (s - typical).abs() <= 0.5 * typical.abs()).len();
        let mostly_even = close * 20 >= sizes.len() * 19
            || (sizes.len() < 20 && close + 1 >= sizes.len() && close >= 3);
        Steps {
            typical,
            backwards: those(&|s| s < 0.0),
            repeated: those(&|s| s == 0.0),
            gaps: those(&|s| mostly_even && s > 1.5 * typical),
            sizes,
        }
    }

    pub fn faults(&self, times: &[f64], to_si: &dyn Fn(f64) -> f64) -> Vec<TimeFault> {
        let backwards = self.backwards.first().map(|&k| TimeFault::Backwards {
            row: k + 1,
            from_s: to_si(times[k]),
            to_s: to_si(times[k + 1]),
            places: self.backwards.len(),
            pattern: self.pattern(times),
        });
        let gap = self.gaps.first().map(|&k| TimeFault::Gap {
            row: k + 1,
            from_s: to_si(times[k]),
            to_s: to_si(times[k + 1]),
            missing: (self.sizes[k] / self.typical).round() - 1.0,
            places: self.gaps.len(),
        });
        let repeated = self.repeated.first().map(|&k| TimeFault::Repeated {
            row: k + 1,
            time_s: to_si(times[k]),
            places: self.repeated.len(),
        });
        // A step back makes gaps of its own.
        backwards.or(gap).into_iter().chain(repeated).collect()
    }

    /// What the steps back look like.
    fn pattern(&self, times: &[f64]) -> BackwardsPattern {
        let least = times.iter().copied().fold(f64::INFINITY, f64::min);
        let most = times.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let near_begin = |k: &usize| times[k + 1] - least <= 0.1 * (most - least);
        if self.backwards.len() * 5 > self.sizes.len() {
            BackwardsPattern::Unsorted
        } else if self.backwards.iter().all(near_begin) {
            BackwardsPattern::Restarts
        } else {
            BackwardsPattern::Single
        }
    }

    /// The fault of steps that simply differ.
    pub fn unevenness(&self, to_si: &dyn Fn(f64) -> f64) -> TimeFault {
        let extreme =
            |order: fn(f64, f64) -> f64, from| self.sizes.iter().copied().fold(from, order);
        TimeFault::Uneven {
            median_s: to_si(self.typical),
            least_s: to_si(extreme(f64::min, f64::INFINITY)),
            most_s: to_si(extreme(f64::max, f64::NEG_INFINITY)),
        }
    }
}

fn median(values: &mut [f64]) -> f64 {
    let middle = values.len() / 2;
    let even = values.len().is_multiple_of(2);
    let (below, &mut upper, _) = values.select_nth_unstable_by(middle, f64::total_cmp);
    match below.iter().copied().reduce(f64::max) {
        Some(lower) if even => 0.5 * (lower + upper),
        _ => upper,
    }
}
