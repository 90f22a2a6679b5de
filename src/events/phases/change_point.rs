//! The instant at which a driven motor's terminals open, where neither channel shows it at a glance.
//!
//! Before it voltage and current keep their levels; after it the voltage is a smooth decay and the current its own zero, whatever that
//! is. With a Gaussian scatter of its own on either side, the logarithm of the likelihood of an instant is
//! `−½ Σ n (ln s² + r²/s²)` over both sides of both channels, with n values that leave the root mean square r and the scatter s, never
//! below the noise of the channel (maximum likelihood of a change in level and variance: D. V. Hinkley 1970, Biometrika 57, 1-17).
//! It is worked out on means of blocks, and again on smaller blocks around the best instant, down to single rows.

use crate::events::trace::series::Series;
use crate::events::trace::view::View;

/// Blocks at each level of detail.
const BLOCKS: usize = 400;
/// Fewest blocks on either side of the instant.
const LEAST: usize = 6;
/// Rows at the end of the range that are left out.
const EDGE: usize = 3;
/// Blocks on either side of the best instants that the next level looks at.
const AROUND: usize = 24;
/// Fall of the logarithm of the likelihood within which an instant is possible: some five standard deviations of a normal one, as ripple makes
/// neighbouring blocks alike (common practice, no source).
const POSSIBLE: f64 = 12.0;
/// Rise of it that an opening must bring over none: of the current by itself, and of both channels.
const CURRENT_GAIN: f64 = 12.0;
const GAIN: f64 = 30.0;

/// An instant, as rows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct ChangePoint {
    pub row: usize,
    /// First and last row at which the terminals may have opened.
    pub earliest: usize,
    pub latest: usize,
}

/// The instant in the rows `first .. end`, which end with open terminals; `None` where they show no driven part before it.
pub(crate) fn change_point(view: &View, first: usize, end: usize) -> Option<ChangePoint> {
    // The edge of what comes next, a short, may begin a little before it is found.
    let end = end.saturating_sub(EDGE).max(first);
    let (mut from, mut to) = (first, end);
    let mut found: Option<ChangePoint> = None;
    loop {
        let size = (to - from).div_ceil(BLOCKS).max(1);
        let channels: Vec<Channel> = [(&view.v, true), (&view.i, false)]
            .into_iter()
            .filter_map(|(x, decays)| Some(Channel::of(x.as_ref()?, decays, from, to, size)))
            .collect();
        let Some(best) = most_likely(&channels, found.is_none()) else {
            return found;
        };
        let at = |block: usize| from + block * size;
        found = Some(ChangePoint {
            row: (at(best.block) + size / 2).min(end - 1),
            earliest: at(best.earliest),
            latest: (at(best.latest + 1) - 1).min(end - 1),
        });
        if size == 1 || best.latest - best.earliest > AROUND {
            return found;
        }
        to = at(best.latest + AROUND + 1).min(end);
        from = at(best.earliest.saturating_sub(AROUND)).max(first);
    }
}

/// Block of the instant, and the first and last that are possible.
struct Best {
    block: usize,
    earliest: usize,
    latest: usize,
}

/// `whole`: the blocks hold all there is, and must show that something opened.
fn most_likely(channels: &[Channel], whole: bool) -> Option<Best> {
    let count = channels.iter().map(|c| c.means.len()).min()?;
    let candidates = LEAST..count.checked_sub(LEAST)?;
    let of = |block: usize| channels.iter().map(|c| c.opened_at(block)).sum::<f64>();
    let likely: Vec<f64> = candidates.clone().map(of).collect();
    let top = likely.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let possible = |l: &f64| *l >= top - POSSIBLE;
    let block = candidates.start + likely.iter().position(|l| *l == top)?;
    let shows = |c: &Channel| c.opened_at(block) - c.never_opened();
    if whole {
        let total: f64 = channels.iter().map(shows).sum();
        let of_current = channels.iter().filter(|c| !c.decays);
        let by_current = of_current.clone().map(shows).sum::<f64>() > CURRENT_GAIN;
        let keeps = |c: &Channel| c.keeps_level_before(block);
        let shown = by_current || channels.iter().all(keeps);
        // A current that only decays, as in a start, has nothing to end.
        if total < GAIN || !shown || !of_current.clone().all(keeps) {
            return None;
        }
    }
    Some(Best {
        block,
        earliest: candidates.start + likely.iter().position(possible)?,
        latest: candidates.start + likely.iter().rposition(possible)?,
    })
}

/// Means of the blocks of one channel.
struct Channel {
    means: Vec<f64>,
    /// Blocks of the decay that a polynomial follows; all of a current.
    followed: usize,
    /// Least variance of a mean.
    floor: f64,
    /// True of the voltage.
    decays: bool,
}

impl Channel {
    fn of(x: &Series, decays: bool, from: usize, to: usize, size: usize) -> Channel {
        // An inductive spike says nothing of the levels on its two sides.
        let limit = |q| x.quantile(from, to, q);
        let (low, high) = (
            limit(0.005).unwrap_or(f64::NEG_INFINITY),
            limit(0.995).unwrap_or(f64::INFINITY),
        );
        let rows: Vec<f64> = x
            .rows(from, to)
            .iter()
            .map(|v| v.clamp(low, high))
            .collect();
        let blocks = rows.chunks_exact(size);
        let means: Vec<f64> = blocks
            .map(|b| b.iter().sum::<f64>() / size as f64)
            .collect();
        // Below half of its level friction near standstill bends the decay.
        let level = means.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        let faded = |w: &[f64]| w.iter().all(|m| *m < 0.5 * level);
        let followed = match decays {
            true => means.windows(LEAST).position(faded),
            false => None,
        };
        let white = x.sigma.max(0.3 * x.step).powi(2) / size as f64;
        Channel {
            followed: followed.unwrap_or(means.len()),
            floor: (0.25 * white).max(f64::MIN_POSITIVE),
            means,
            decays,
        }
    }

    /// Logarithm of the likelihood that the terminals opened in a block, which itself belongs to neither side.
    fn opened_at(&self, block: usize) -> f64 {
        self.likelihood(&self.means[..block], 0) + self.open_from(block + 1)
    }

    fn never_opened(&self) -> f64 {
        self.open_from(0)
    }

    fn open_from(&self, block: usize) -> f64 {
        // Blocks that no polynomial follows count alike for every instant before them.
        let rows = &self.means[block..self.followed.max(block + LEAST).min(self.means.len())];
        let degree = if self.decays {
            (rows.len() / 12).min(3)
        } else {
            0
        };
        self.likelihood(rows, degree)
    }

    fn likelihood(&self, values: &[f64], degree: usize) -> f64 {
        let count = values.len() as f64;
        let sum = squares_left(values, degree);
        let variance = (sum / count).max(self.floor);
        -0.5 * (count * (variance / self.floor).ln() + sum / variance)
    }

    /// Whether the channel keeps its level before a block: the voltage beside its fall behind it, the current where it steps.
    fn keeps_level_before(&self, block: usize) -> bool {
        let (before, after) = (&self.means[..block], &self.means[block + 1..]);
        if self.decays {
            let until = self
                .followed
                .saturating_sub(block + 1)
                .clamp(LEAST, after.len());
            let after = &after[..until.min(block.max(LEAST))];
            return slope(before).abs() < 0.3 * slope(after).abs();
        }
        // What only decays towards a level has no step at any instant that is near the whole of its change.
        let last = &before[before.len() - (before.len() / 8).max(LEAST)..];
        let next = &after[..(after.len() / 8).max(LEAST)];
        let change = mean(before) - mean(after);
        let step = (mean(last) - mean(next)) * change.signum();
        let variance = |x: &[f64]| squares_left(x, 0) / (x.len() as f64).powi(2);
        step > 0.7 * change.abs() - 2.0 * (variance(last) + variance(next)).sqrt()
    }
}

fn mean(values: &[f64]) -> f64 {
    values.iter().sum::<f64>() / values.len() as f64
}

/// Slope of the straight line through values one step apart.
fn slope(values: &[f64]) -> f64 {
    let middle = 0.5 * (values.len() as f64 - 1.0);
    let mut sums = [0.0; 2];
    for (k, value) in values.iter().enumerate() {
        let t = k as f64 - middle;
        sums[0] += t * value;
        sums[1] += t * t;
    }
    sums[0] / sums[1].max(1.0)
}

/// Sum of squares that a polynomial of `degree` leaves of evenly spaced values: by orthogonal polynomials (G. E. Forsythe 1957, J. SIAM 5,
/// 74-88).
fn squares_left(values: &[f64], degree: usize) -> f64 {
    let middle = 0.5 * (values.len() as f64 - 1.0);
    let at = |k: usize| (k as f64 - middle) / (middle + 1.0);
    let mut left = values.to_vec();
    let mut before = vec![0.0; values.len()];
    let mut polynomial = vec![1.0; values.len()];
    let mut norm_before = 1.0;
    for _ in 0..=degree {
        let norm: f64 = polynomial.iter().map(|p| p * p).sum();
        if norm <= 0.0 {
            break;
        }
        let share = polynomial
            .iter()
            .zip(&left)
            .map(|(p, y)| p * y)
            .sum::<f64>()
            / norm;
        left.iter_mut()
            .zip(&polynomial)
            .for_each(|(y, p)| *y -= share * p);
        // The times lie evenly about their middle, so the next polynomial has no part of this one.
        let ratio = norm / norm_before;
        let next = polynomial.iter().zip(&before).enumerate();
        let next: Vec<f64> = next.map(|(k, (p, b))| at(k) * p - ratio * b).collect();
        before = std::mem::replace(&mut polynomial, next);
        norm_before = norm;
    }
    left.iter().map(|y| y * y).sum()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_cubic_is_followed_by_a_cubic_and_not_by_a_square() {
        let cubic: Vec<f64> = (0..50)
            .map(|k| f64::from(k).powi(3) - 7.0 * f64::from(k))
            .collect();
        assert!(squares_left(&cubic, 3) < 1e-12 * squares_left(&cubic, 0));
        assert!(squares_left(&cubic, 2) > 1e-4 * squares_left(&cubic, 0));
        assert!((slope(&[1.0, 3.0, 5.0, 7.0]) - 2.0).abs() < 1e-12);
    }
}
