//! What a column of samples tells of the instrument: code step, noise, samples at the end of the range.

use super::levels::{Levels, levels};
use rayon::prelude::*;

/// What the codes in a column tell.
#[derive(Clone, Debug, PartialEq)]
pub struct Codes {
    /// As [`quantisation_step`].
    pub step: Option<f64>,
    /// As [`clipped`].
    pub clipped: Vec<bool>,
    /// Smallest and largest finite value; `None` without any.
    pub range: Option<(f64, f64)>,
}

/// [`quantisation_step`] and [`clipped`] at once, for half of the work.
pub fn codes(values: &[f64], overrange: &[(usize, bool)]) -> Codes {
    let Levels {
        values: levels,
        range,
    } = levels(values);
    let step = step_of(&levels);
    Codes {
        clipped: clipped_at(values, overrange, &levels, step),
        step,
        range,
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
    let mut gaps: Vec<f64> = levels.windows(2).map(|w| w[1] - w[0]).collect();
    if gaps.len() < 2 {
        return None;
    }
    gaps.sort_unstable_by(f64::total_cmp);
    // A few odd levels (the end of the range, sums in floating point) must not set the step: it takes a twentieth of
    // all gaps within half as much again of the smallest.
    let few = (gaps.len() / 20).max(1);
    let mut from = 0;
    let step = loop {
        let least = *gaps.get(from)?;
        let cluster = gaps.partition_point(|&g| g <= 1.5 * least) - from;
        if cluster >= few {
            break gaps[from + cluster / 2];
        }
        from += cluster;
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

/// Standard deviation of the noise from sample to sample.
///
/// From second differences, so that slopes do not count, without those beyond four robust standard deviations, so that
/// edges and needles do not either. White noise of standard deviation s gives s; smooth signals below the code step
/// give less than a third of it. `None` when no difference is left or all are zero: the noise is then below what the
/// codes show, which is unknown, not zero.
pub fn noise(values: &[f64]) -> Option<f64> {
    noise_with(values, quantisation_step(values))
}

/// [`noise`] of a column whose [`quantisation_step`] is known.
pub fn noise_with(values: &[f64], step: Option<f64>) -> Option<f64> {
    let median = median_curvature(values)?;
    // 0.6745 is the upper quartile of the normal distribution; two codes up and down are noise of a converter too.
    let limit = (4.0 * median / 0.6745).max(2.5 * step.unwrap_or(0.0));
    // Sums over stretches of a fixed length, so that the number of threads changes no bit.
    let sums: Vec<(f64, usize)> = stretches(values)
        .map(|stretch| {
            curvatures(stretch)
                .filter(|d| d.abs() <= limit)
                .fold((0.0, 0usize), |(s, n), d| (s + d * d, n + 1))
        })
        .collect();
    let (sum, count) = sums
        .into_iter()
        .fold((0.0, 0), |(s, n), (sum, count)| (s + sum, n + count));
    // Var(a - 2b + c) = 6 s^2.
    let deviation = (sum / (6.0 * count as f64)).sqrt();
    (deviation > 0.0).then_some(deviation)
}

/// Second differences a task.
const STRETCH: usize = 1 << 16;
/// Bits of the size of a number that its bin takes: exponent and four bits behind it.
const BIN_BITS: u32 = 15;

/// Finite second differences.
fn curvatures(values: &[f64]) -> impl Iterator<Item = f64> + '_ {
    values
        .windows(3)
        .map(|w| w[2] - 2.0 * w[1] + w[0])
        .filter(|d| d.is_finite())
}

/// The values in stretches that share two samples, so that every second difference is in one of them.
fn stretches(values: &[f64]) -> impl IndexedParallelIterator<Item = &[f64]> + '_ {
    let count = values.len().saturating_sub(2).div_ceil(STRETCH);
    (0..count).into_par_iter().map(move |k| {
        let first = k * STRETCH;
        &values[first..(first + STRETCH + 2).min(values.len())]
    })
}

/// Upper median of the sizes of the second differences; `None` for fewer than eight. Sizes are counted in bins of their
/// leading bits, which sort as the numbers do; only those in the bin of the median are kept.
fn median_curvature(values: &[f64]) -> Option<f64> {
    let bin = |d: f64| (d.abs().to_bits() >> (63 - BIN_BITS)) as usize;
    let bins = stretches(values)
        .with_min_len(16)
        .fold(
            || vec![0u32; 1 << BIN_BITS],
            |mut bins, stretch| {
                curvatures(stretch).for_each(|d| bins[bin(d)] += 1);
                bins
            },
        )
        .reduce(
            || vec![0u32; 1 << BIN_BITS],
            |mut one, other| {
                one.iter_mut().zip(other).for_each(|(a, b)| *a += b);
                one
            },
        );
    let total: usize = bins.iter().map(|n| *n as usize).sum();
    if total < 8 {
        return None;
    }
    let middle = total / 2;
    let mut below = 0;
    let wanted = bins.iter().position(|n| {
        below += *n as usize;
        below > middle
    })?;
    below -= bins[wanted] as usize;
    let mut sizes: Vec<f64> = stretches(values)
        .flat_map_iter(|stretch| curvatures(stretch).filter(|d| bin(*d) == wanted))
        .map(f64::abs)
        .collect();
    Some(
        *sizes
            .select_nth_unstable_by(middle - below, f64::total_cmp)
            .1,
    )
}

/// Marks samples whose true value lay outside the range of the instrument.
///
/// Overrange marks of the file are such. Beyond them the two extreme codes of the record are examined, each for one of:
/// the record spans exactly 2^n codes, which are the ends of the converter; the extreme code stands off the grid of
/// the others; a short run is pinned there, arriving or leaving by a jump, with hardly a sample on the codes beside it; or
/// a longer run is pinned where samples close by show noise. Levels at which the record starts or ends, and plateaus
/// with the noise of the rest, are not clipped. One flag a sample.
pub fn clipped(values: &[f64], overrange: &[(usize, bool)]) -> Vec<bool> {
    codes(values, overrange).clipped
}

fn clipped_at(
    values: &[f64],
    overrange: &[(usize, bool)],
    levels: &[f64],
    step: Option<f64>,
) -> Vec<bool> {
    let mut flags = vec![false; values.len()];
    for &(row, _) in overrange {
        if let Some(flag) = flags.get_mut(row) {
            *flag = true;
        }
    }
    let Some(step) = step else {
        return flags;
    };
    let (Some(&low), Some(&high)) = (levels.first(), levels.last()) else {
        return flags;
    };
    let inner = |top: bool| {
        if top {
            levels[levels.len() - 2]
        } else {
            levels[1]
        }
    };
    let near = 0.25 * step;
    let count = |level: f64| values.iter().filter(|&&v| (v - level).abs() < near).count();
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
            || off_grid(values, rail, inner(top), step)
            || pinned(values, rail, step, high - low)
        {
            for (flag, value) in flags.iter_mut().zip(values) {
                *flag |= (*value - rail).abs() < near;
            }
        }
    }
    flags
}

/// True when the extreme code does not lie on the grid of the codes beside it, and many samples sit there.
fn off_grid(values: &[f64], rail: f64, inner: f64, step: f64) -> bool {
    let gap = (rail - inner).abs() / step;
    // Printed digits may move a code by a few hundredths of the step, not by 0.08.
    if !(gap < 4.0 && (gap - gap.round()).abs() > 0.08) {
        return false;
    }
    let at_rail = values.iter().filter(|&&v| v == rail).count();
    let beside = values.iter().filter(|&&v| v == inner).count();
    at_rail >= 3 && at_rail > 2 * beside
}

fn pinned(values: &[f64], rail: f64, step: f64, span: f64) -> bool {
    let at_rail = values.iter().filter(|&&v| v == rail).count();
    let finite = values.iter().filter(|v| v.is_finite()).count();
    if at_rail < 3 || at_rail * 4 > finite || span < 8.0 * step {
        return false;
    }
    let beside = values
        .iter()
        .filter(|&&v| v != rail && (v - rail).abs() < 3.5 * step)
        .count();
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

    #[test]
    fn noise_is_measured_on_a_slope_with_edges() {
        let mut random = rand::rngs::StdRng::seed_from_u64(7);
        let normal = Normal::new(0.0, 0.02).unwrap();
        let values: Vec<f64> = (0..20_000)
            .map(|k| {
                let edge = if (k / 1000) % 2 == 0 { 0.0 } else { 5.0 };
                edge + f64::from(k) * 1e-3 + normal.sample(&mut random)
            })
            .collect();
        let deviation = noise(&values).unwrap();
        assert!((deviation / 0.02 - 1.0).abs() < 0.03, "{deviation}");
        assert_eq!(noise(&[1.0; 50]), None);
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
