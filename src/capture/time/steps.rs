//! The steps between listed times: which stand out, and how.

use super::judged::{Context, TimeFault};
use crate::capture::read::options::TimeGaps;
use crate::capture::wording::{ReadErrorKind, StepsBack, WarningKind};

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

    pub fn faults(&self, times: &[f64], context: Context) -> Vec<TimeFault> {
        let time = |row: usize| (context.to_si)(times[row]);
        let backwards = self.backwards.first().map(|&k| {
            let (from_s, to_s, places) = (time(k), time(k + 1), self.backwards.len());
            let kind = match context.gaps {
                TimeGaps::Keep => Err(Box::new(ReadErrorKind::TimeBackwards {
                    from_s,
                    to_s,
                    places,
                    pattern: self.pattern(times),
                })),
                _ => Ok(WarningKind::TimeBackwards {
                    from_s,
                    to_s,
                    places,
                }),
            };
            let row = Some(k + 1);
            TimeFault { row, kind }
        });
        let gap = self.gaps.first().map(|&k| {
            let kind = WarningKind::TimeGap {
                from_s: time(k),
                to_s: time(k + 1),
                missing: ((self.sizes[k] / self.typical).round() - 1.0) as usize,
                places: self.gaps.len(),
            };
            TimeFault::new(k + 1, kind)
        });
        let repeated = self.repeated.first().map(|&k| {
            let (time_s, places) = (time(k), self.repeated.len());
            TimeFault::new(k + 1, WarningKind::TimeRepeated { time_s, places })
        });
        // A step back makes gaps of its own.
        backwards.or(gap).into_iter().chain(repeated).collect()
    }

    /// What the steps back look like.
    fn pattern(&self, times: &[f64]) -> StepsBack {
        let least = times.iter().copied().fold(f64::INFINITY, f64::min);
        let most = times.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let near_begin = |k: &usize| times[k + 1] - least <= 0.1 * (most - least);
        if self.backwards.len() * 5 > self.sizes.len() {
            StepsBack::Shuffled
        } else if self.backwards.iter().all(near_begin) {
            StepsBack::Restarts
        } else {
            StepsBack::Other
        }
    }

    /// The fault of steps that simply differ.
    pub fn unevenness(&self, to_si: &dyn Fn(f64) -> f64) -> TimeFault {
        let sizes = || self.sizes.iter().copied();
        let kind = WarningKind::TimeUneven {
            shortest_s: to_si(sizes().fold(f64::INFINITY, f64::min)),
            longest_s: to_si(sizes().fold(f64::NEG_INFINITY, f64::max)),
            median_s: to_si(self.typical),
        };
        TimeFault::new(None, kind)
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
