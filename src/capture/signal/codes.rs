//! What a column of samples tells of the instrument: code step, samples at the end of the range.

use super::levels::{Levels, Tally, levels};
use super::noise::{MedianCurvature, median_curvature, noise_about};
use crate::stats::lanes;
use crate::stats::sought::Sought;
use rayon::prelude::*;

/// What the codes in a column tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Codes {
    /// As [`quantisation_step`].
    pub step: Option<f64>,
    /// As [`clipped`]; empty where no sample is.
    pub clipped: Vec<bool>,
    /// Smallest and largest finite value; `None` without any.
    pub range: Option<(f64, f64)>,
}

/// [`quantisation_step`] and [`clipped`] at once, for half of the work.
pub fn codes(values: &[f64], overrange: &[(usize, bool)]) -> Codes {
    codes_at(values, overrange, &levels(values))
}

/// [`codes`] and [`noise`](super::noise::noise) at once, so that a long column is gone through twice in place of four times.
pub fn codes_and_noise(values: &[f64], overrange: &[(usize, bool)]) -> (Codes, Option<f64>) {
    let sought = MedianCurvature::about(values);
    let (tally, mut curvature) = (0..values.len().div_ceil(STRETCH))
        .into_par_iter()
        .with_min_len(8)
        .map(|k| k * STRETCH..(k * STRETCH + STRETCH).min(values.len()))
        .fold(
            || (Some(Tally::new()), sought.clone()),
            |(tally, mut curvature), rows| {
                curvature.take(&values[rows.start..(rows.end + 2).min(values.len())]);
                (tally.and_then(|tally| tally.with(&values[rows])), curvature)
            },
        )
        .reduce(
            || (Some(Tally::new()), sought.clone()),
            |one, other| {
                let tally = one.0.zip(other.0).and_then(|(one, other)| one.and(&other));
                (tally, one.1.and(other.1))
            },
        );
    let codes = codes_at(values, overrange, &Levels::of(values, tally));
    let median = curvature.found().or_else(|| median_curvature(values));
    let noise = median.and_then(|median| noise_about(values, median, codes.step));
    (codes, noise)
}

/// Samples a task.
const STRETCH: usize = 1 << 16;

fn codes_at(values: &[f64], overrange: &[(usize, bool)], levels: &Levels) -> Codes {
    let step = step_of(&levels.values);
    Codes {
        clipped: clipped_at(values, overrange, levels, step),
        step,
        range: levels.range,
    }
}

/// Smallest distance between two codes of the converter (or of the printed digits, where these are coarser).
///
/// Printed values are rounded, so the distances jitter by a digit; the step is the mean distance over the whole grid
/// of codes. `None` with fewer than three different values.
pub fn quantisation_step(values: &[f64]) -> Option<f64> {
    step_of(&levels(values).values)
}

fn step_of(levels: &[f64]) -> Option<f64> {
    let gap = |[low, high]: [f64; 2]| high - low;
    let gaps = levels.len().saturating_sub(1);
    if gaps < 2 {
        return None;
    }
    // A few odd levels (the end of the range, sums in floating point) must not set the step: it takes a twentieth of
    // all gaps within half as much again of the smallest. Counted, not sorted: there may be as many gaps as samples.
    let few = (gaps / 20).max(1);
    let (mut smaller, mut bound) = (0, f64::NEG_INFINITY);
    let step = loop {
        if smaller == gaps {
            return None;
        }
        let least = -lanes::largest(levels, |w| match gap(w) {
            gap if gap > bound => -gap,
            _ => f64::NEG_INFINITY,
        });
        bound = 1.5 * least;
        let cluster = lanes::count(levels, |w| gap(w) <= bound) - smaller;
        if cluster >= few {
            let mut sought = Sought::within(least, bound);
            sought.take(levels, gap);
            break sought.ranked(smaller + cluster / 2)?;
        }
        smaller += cluster;
    };
    // Rounding errors of the levels cancel along the grid; a second pass takes in wider gaps.
    let mut step = step;
    for reach in [3.0, 12.0] {
        let (sum, count) = levels
            .windows(2)
            .map(|w| w[1] - w[0])
            .filter(|g| *g > 0.5 * step && *g < (reach + 0.3) * step)
            .map(|g| (g, (g / step).round()))
            .filter(|(g, k)| (g / step - k).abs() < 0.3)
            .fold((0.0, 0.0), |(s, n), (g, k)| (s + g, n + k));
        if count > 0.0 {
            step = sum / count;
        }
    }
    Some(step)
}

/// Marks samples whose true value lay outside the range of the instrument.
///
/// Overrange marks of the file are such. Beyond them the two extreme codes of the record are examined, each for one of:
/// the record spans exactly 2^n codes, which are the ends of the converter; the extreme code stands off the grid of
/// the others; a short run is pinned there, arriving or leaving by a jump, with hardly a sample on the codes beside it; or
/// a longer run is pinned where samples close by show noise. Levels at which the record starts or ends, and plateaus
/// with the noise of the rest, are not clipped. One flag a sample.
pub fn clipped(values: &[f64], overrange: &[(usize, bool)]) -> Vec<bool> {
    let mut flags = codes(values, overrange).clipped;
    flags.resize(values.len(), false);
    flags
}

/// Empty where no sample is clipped.
fn clipped_at(
    values: &[f64],
    overrange: &[(usize, bool)],
    levels: &Levels,
    step: Option<f64>,
) -> Vec<bool> {
    let mut flags = Vec::new();
    let marked = overrange.iter().map(|(row, _)| *row);
    for row in marked.filter(|row| *row < values.len()) {
        flags.resize(values.len(), false);
        flags[row] = true;
    }
    // Where there is a step there are three levels at least.
    let (Some(step), [low, after_low, ..], [.., before_high, high]) =
        (step, levels.values.as_slice(), levels.values.as_slice())
    else {
        return flags;
    };
    let (low, high) = (*low, *high);
    let inner = |top: bool| if top { *before_high } else { *after_low };
    let near = 0.25 * step;
    let count = |level: f64| levels.count(|v| (v - level).abs() < near);
    let stands_out = |top: bool| {
        let rail = if top { high } else { low };
        (rail - inner(top)).abs() > 1.5 * step || count(rail) > 3 * count(inner(top))
    };
    let codes = ((high - low) / step).round() + 1.0;
    let full_scale = (6..=16).any(|bits| codes == f64::from(1u32 << bits))
        && ((high - low) / step - (codes - 1.0)).abs() < 0.3
        && stands_out(true)
        && stands_out(false);
    for top in [false, true] {
        let rail = if top { high } else { low };
        if full_scale
            || off_grid(levels, rail, inner(top), step)
            || pinned(values, levels, rail, step, high - low)
        {
            flags.resize(values.len(), false);
            for (flag, value) in flags.iter_mut().zip(values) {
                *flag |= (*value - rail).abs() < near;
            }
        }
    }
    flags
}

/// True when the extreme code does not lie on the grid of the codes beside it, and many samples sit there.
fn off_grid(levels: &Levels, rail: f64, inner: f64, step: f64) -> bool {
    let gap = (rail - inner).abs() / step;
    // Printed digits may move a code by a few hundredths of the step, not by 0.08.
    if !(gap < 4.0 && (gap - gap.round()).abs() > 0.08) {
        return false;
    }
    let at_rail = levels.count(|v| v == rail);
    at_rail >= 3 && at_rail > 2 * levels.count(|v| v == inner)
}

fn pinned(values: &[f64], levels: &Levels, rail: f64, step: f64, span: f64) -> bool {
    let at_rail = levels.count(|v| v == rail);
    let finite = levels.count(|_| true);
    if at_rail < 3 || at_rail * 4 > finite || span < 8.0 * step {
        return false;
    }
    let beside = levels.count(|v| v != rail && (v - rail).abs() < 3.5 * step);
    let mut longest = 0;
    let mut jumps = false;
    let mut at = 0;
    while at < values.len() {
        if values[at] != rail {
            at += 1;
            continue;
        }
        let first = at;
        while at < values.len() && values[at] == rail {
            at += 1;
        }
        if first == 0 || at == values.len() {
            // A level the record rests at, as far as anyone can tell.
            return false;
        }
        longest = longest.max(at - first);
        if at - first >= 3 {
            let arrival = (values[first - 1] - rail).abs();
            let leave = (values[at] - rail).abs();
            jumps |= arrival > 3.0 * step || leave > 3.0 * step;
        }
    }
    if longest >= 3 && jumps && at_rail * 50 <= finite && at_rail > 2 * beside {
        return true;
    }
    // Close by, how often does a sample equal the one before?
    let close = |v: f64| v != rail && (v - rail).abs() < 0.2 * span;
    let pairs: Vec<bool> = values
        .windows(2)
        .filter(|w| close(w[0]) && close(w[1]))
        .map(|w| w[0] == w[1])
        .collect();
    if pairs.len() < 10 {
        return false;
    }
    let same = (pairs.iter().filter(|&&s| s).count() as f64 + 1.0) / (pairs.len() as f64 + 2.0);
    at_rail > 4 * beside && (longest as f64) * same.ln() < -14.0
}

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::{Distribution, Normal};

    fn rounded(value: f64, step: f64, digits: f64) -> f64 {
        ((value / step).round() * step * digits).round() / digits
    }

    #[test]
    fn the_step_is_found_through_printed_digits() {
        let values: Vec<f64> = (0..400)
            .map(|k| rounded((f64::from(k) * 0.05).sin() * 3.0, 0.0625, 1e3))
            .collect();
        let step = quantisation_step(&values).unwrap();
        assert!((step - 0.0625).abs() < 1e-4, "{step}");
        let astray: Vec<f64> = (0..400)
            .map(|k| f64::from(k % 40) * 0.04 + f64::from(k % 7) * 1e-12)
            .collect();
        let step = quantisation_step(&astray).unwrap();
        assert!((step - 0.04).abs() < 1e-9, "{step}");
        assert_eq!(quantisation_step(&[1.0, 1.0, 1.0]), None);
        assert_eq!(quantisation_step(&[f64::NAN, 2.0]), None);
    }

    fn noisy(seed: u64, shape: impl Fn(f64) -> f64, sigma: f64, step: f64) -> Vec<f64> {
        let mut random = rand::rngs::StdRng::seed_from_u64(seed);
        let normal = Normal::new(0.0, sigma).unwrap();
        (0..4000)
            .map(|k| {
                rounded(
                    shape(f64::from(k) / 4000.0) + normal.sample(&mut random),
                    step,
                    1e6,
                )
            })
            .collect()
    }

    #[test]
    fn an_inrush_beyond_the_screen_is_clipped() {
        let inrush = |t: f64| {
            if t < 0.1 {
                0.0
            } else {
                5.0 * (-(t - 0.1) / 0.2).exp() * (1.0 - (-(t - 0.1) / 0.01).exp())
            }
        };
        let values: Vec<f64> = noisy(1, inrush, 0.01, 0.015625)
            .into_iter()
            .map(|v| v.min(3.0))
            .collect();
        let flags = clipped(&values, &[]);
        let count = flags.iter().filter(|&&f| f).count();
        let truth = values.iter().filter(|&&v| v == 3.0).count();
        assert!(truth > 100);
        assert_eq!(count, truth);
    }

    #[test]
    fn rest_and_plateau_are_not_clipped() {
        for (seed, sigma) in [(1, 0.0), (2, 0.005), (3, 0.02), (4, 0.06)] {
            let step = |t: f64| if (0.3..0.8).contains(&t) { 12.1 } else { 0.01 };
            let flags = clipped(&noisy(seed, step, sigma, 0.0625), &[]);
            assert!(!flags.contains(&true), "step, noise {sigma}");
            let decay = |t: f64| {
                if t < 0.2 {
                    12.1
                } else {
                    12.1 * (-(t - 0.2) / 0.1).exp()
                }
            };
            let flags = clipped(&noisy(seed, decay, sigma, 0.0625), &[]);
            assert!(!flags.contains(&true), "decay, noise {sigma}");
            let pwm = |t: f64| if (t * 80.0).fract() < 0.4 { 12.1 } else { -0.4 };
            let flags = clipped(&noisy(seed, pwm, sigma, 0.0625), &[]);
            assert!(!flags.contains(&true), "pwm, noise {sigma}");
        }
    }

    #[test]
    fn a_short_kick_to_the_rail_is_clipped_and_marks_are_kept() {
        let mut values = noisy(5, |_| 24.0, 0.1, 0.1953125);
        for value in &mut values[1000..1009] {
            *value = -12.5;
        }
        values[2000] = f64::NAN;
        let flags = clipped(&values, &[(2000, true)]);
        let rows: Vec<usize> = (0..flags.len()).filter(|&k| flags[k]).collect();
        assert_eq!(rows, (1000..1009).chain([2000]).collect::<Vec<_>>());
        let mut random = rand::rngs::StdRng::seed_from_u64(9);
        let free: Vec<f64> = (0..100).map(|_| random.random::<f64>()).collect();
        assert!(!clipped(&free, &[]).contains(&true));
    }
}
