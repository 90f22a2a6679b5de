//! Extremes and counts over the windows of a long array, eight at a time.
//!
//! A running extreme or a count with a branch goes one value a step. Here eight run side by side, which the compiler turns into
//! the processor's instructions for several numbers at once. The result is the same: neither depends on the order.

use std::array::from_fn;

const WIDTH: usize = 8;

/// Largest of `of` over all windows of `N` neighbours; minus infinity without any. What is not a number never counts.
pub fn largest<const N: usize>(x: &[f64], of: impl Fn([f64; N]) -> f64) -> f64 {
    let mut tops = [f64::NEG_INFINITY; WIDTH];
    let rest = eights(x, |window: [[f64; WIDTH]; N]| {
        for lane in 0..WIDTH {
            tops[lane] = higher(tops[lane], of(from_fn(|k| window[k][lane])));
        }
    });
    let rest = windows(rest).map(of);
    tops.into_iter().chain(rest).fold(f64::NEG_INFINITY, higher)
}

/// Smallest and largest value; plus and minus infinity without any. What is not a number never counts.
pub fn range(x: &[f64]) -> (f64, f64) {
    let (mut lows, mut highs) = ([f64::INFINITY; WIDTH], [f64::NEG_INFINITY; WIDTH]);
    let rest = eights(x, |[row]: [[f64; WIDTH]; 1]| {
        for lane in 0..WIDTH {
            lows[lane] = lower(lows[lane], row[lane]);
            highs[lane] = higher(highs[lane], row[lane]);
        }
    });
    let all = |vector: [f64; WIDTH]| vector.into_iter().chain(rest.iter().copied());
    (
        all(lows).fold(f64::INFINITY, lower),
        all(highs).fold(f64::NEG_INFINITY, higher),
    )
}

// Written out: `f64::max` asks for numbers that are none on both sides, at twice the cost.
fn higher(top: f64, value: f64) -> f64 {
    if value > top { value } else { top }
}

fn lower(low: f64, value: f64) -> f64 {
    if value < low { value } else { low }
}

/// Number of windows of `N` neighbours for which `is` holds.
pub fn count<const N: usize>(x: &[f64], is: impl Fn([f64; N]) -> bool) -> usize {
    let mut counts = [0u64; WIDTH];
    let rest = eights(x, |window: [[f64; WIDTH]; N]| {
        for lane in 0..WIDTH {
            counts[lane] += u64::from(is(from_fn(|k| window[k][lane])));
        }
    });
    let rest = windows(rest).filter(|window| is(*window)).count();
    counts.into_iter().sum::<u64>() as usize + rest
}

// Indices are windows, in each of several slices.
#[allow(clippy::needless_range_loop)]
/// Hands out the windows eight at a time, the first values of all, then the second ones; gives the end of `x` whose windows are
/// left over.
#[inline(always)]
fn eights<const N: usize>(x: &[f64], mut to: impl FnMut([[f64; WIDTH]; N])) -> &[f64] {
    let windows = (x.len() + 1).saturating_sub(N);
    let parts: [_; N] = from_fn(|k| x.get(k..k + windows).unwrap_or_default().as_chunks().0);
    for at in 0..windows / WIDTH {
        to(from_fn(|k| parts[k][at]));
    }
    &x[(windows / WIDTH * WIDTH).min(x.len())..]
}

fn windows<const N: usize>(x: &[f64]) -> impl Iterator<Item = [f64; N]> + '_ {
    x.windows(N).map(|window| from_fn(|k| window[k]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        #[test]
        fn as_one_by_one(x in prop::collection::vec(prop_oneof![8 => -9i32..9, 1 => Just(99)], 0..70)) {
            let x: Vec<f64> = x.into_iter().map(|v| if v == 99 { f64::NAN } else { f64::from(v) }).collect();
            let plain = |values: Vec<f64>| values.into_iter().fold(f64::NEG_INFINITY, f64::max);
            let pairs = || x.windows(2).map(|w| w[1] - w[0]);
            prop_assert_eq!(largest(&x, |[v]| v), plain(x.clone()));
            prop_assert_eq!(largest(&x, |[a, b]| b - a), plain(pairs().collect()));
            prop_assert_eq!(range(&x).0, x.iter().copied().fold(f64::INFINITY, f64::min));
            prop_assert_eq!(count(&x, |[a, b]| b - a > 2.0), pairs().filter(|d| *d > 2.0).count());
            prop_assert_eq!(
                count(&x, |[a, b, c]| a < b && b < c),
                x.windows(3).filter(|w| w[0] < w[1] && w[1] < w[2]).count()
            );
        }
    }
}
