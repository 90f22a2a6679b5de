//! What the codes in a column show: their step, samples at the end of the range.

use super::clipping::clipped_at;
use super::levels::{Levels, levels};
use super::step::step_of;

/// What the codes in a column show.
#[derive(Clone, Debug, PartialEq)]
pub struct Codes {
    /// As [`quantisation_step`](super::quantisation_step).
    pub step: Option<f64>,
    /// As [`clipped`]; empty where no sample is.
    pub clipped: Vec<bool>,
    /// Smallest and largest finite value; `None` without any.
    pub range: Option<(f64, f64)>,
}

/// [`quantisation_step`](super::quantisation_step) and [`clipped`] at once, for half of the work.
pub fn codes(values: &[f64], overrange: &[(usize, bool)]) -> Codes {
    codes_at(values, overrange, &levels(values))
}

pub(super) fn codes_at(values: &[f64], overrange: &[(usize, bool)], levels: &Levels) -> Codes {
    let step = step_of(&levels.values);
    Codes {
        clipped: clipped_at(values, overrange, levels, step),
        step,
        range: levels.range,
    }
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

#[cfg(test)]
mod tests {
    use super::*;
    use rand::{Rng, SeedableRng};
    use rand_distr::{Distribution, Normal};

    fn rounded(value: f64, step: f64, digits: f64) -> f64 {
        ((value / step).round() * step * digits).round() / digits
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
