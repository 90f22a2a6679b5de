//! The steps between listed times: which stand out, and how.

use super::judged::{Context, TimeFault};
use crate::capture::options::TimeGaps;
use crate::capture::warnings::{WarningKind, brief, short};

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
            let (from, to, places) = (time(k), time(k + 1), self.backwards.len());
            if context.gaps == TimeGaps::Keep {
                let first = match places {
                    1 => "1 place".to_string(),
                    _ => format!("first of {places} places"),
                };
                let advice = self.advice(times);
                let (from, to) = (short(from), short(to));
                let text = format!("time goes back from {from} s to {to} s ({first}). {advice}");
                let fault = TimeFault::new(WarningKind::TIME_BACKWARDS, k + 1, text);
                return TimeFault {
                    is_error: true,
                    ..fault
                };
            }
            let text = format!(
                "time goes back from {} s to {} s{}; as requested, only the longest increasing stretch is kept",
                short(from),
                short(to),
                first_of(places)
            );
            TimeFault::new(WarningKind::TIME_BACKWARDS, k + 1, text)
        });
        let gap = self.gaps.first().map(|&k| {
            let (from, to, places) = (time(k), time(k + 1), self.gaps.len());
            let text = format!(
                "gap in time from {} s to {} s: {} s long, about {} samples missing{}. The record is used in {} pieces; pass --time-gaps split to keep the longest piece only",
                short(from),
                short(to),
                brief(to - from),
                (self.sizes[k] / self.typical).round() - 1.0,
                first_of(places),
                places + 1
            );
            TimeFault::new(WarningKind::TIME_GAP, k + 1, text)
        });
        let repeated = self.repeated.first().map(|&k| {
            let text = format!(
                "duplicate timestamp {} s{}; the later row is left out. Export the record again if these rows matter",
                short(time(k)),
                first_of(self.repeated.len())
            );
            TimeFault::new(WarningKind::TIME_REPEATED, k + 1, text)
        });
        // A step back makes gaps of its own.
        backwards.or(gap).into_iter().chain(repeated).collect()
    }

    /// What to do about steps back, by what they look like.
    fn advice(&self, times: &[f64]) -> &'static str {
        let least = times.iter().copied().fold(f64::INFINITY, f64::min);
        let most = times.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let near_begin = |k: &usize| times[k + 1] - least <= 0.1 * (most - least);
        if self.backwards.len() * 5 > self.sizes.len() {
            "The rows are not in the order of time, if this column is time at all. --time-gaps sort puts them in order; --time-column names another column"
        } else if self.backwards.iter().all(near_begin) {
            "Time begins again there: the file holds several records. Export them one by one, or pass --time-gaps split to keep the longest (the first of equals)"
        } else {
            "Export the record again, or pass --time-gaps split to keep its longest increasing stretch"
        }
    }

    /// The fault of steps that simply differ.
    pub fn unevenness(&self, to_si: &dyn Fn(f64) -> f64) -> TimeFault {
        let sizes = || self.sizes.iter().copied();
        let text = format!(
            "time runs unevenly: steps from {} s to {} s, median {} s; every time is kept as written",
            brief(to_si(sizes().fold(f64::INFINITY, f64::min))),
            brief(to_si(sizes().fold(f64::NEG_INFINITY, f64::max))),
            brief(to_si(self.typical))
        );
        TimeFault::new(WarningKind::TIME_UNEVEN, None, text)
    }
}

/// That there are more such places.
fn first_of(places: usize) -> String {
    match places {
        0 | 1 => String::new(),
        n => format!(" (first of {n} places)"),
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
