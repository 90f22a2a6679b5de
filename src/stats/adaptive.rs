//! How many Monte Carlo trials: an adaptive procedure (JCGM 101:2008, 7.9).
//!
//! Trials come in batches of M = 100/(1 − p) (7.9.4 b). From [`LEAST`] trials on, the first size that 7.9.4 b allows, mean, standard
//! uncertainty and bounds of each quantity are compared from batch to batch: with h batches twice the standard deviation of an average,
//! 2 s/√h, has to be within the numerical tolerance δ = ½ · 10^l, where u = c · 10^l and c has two digits (7.9.2). Of several quantities all
//! have to be. Beyond the plan's bound nothing more is drawn; how many digits are stable is then part of the result.

use super::monte_carlo::Outcomes;
use std::ops::Range;

/// Trials before the procedure may end, where nothing else is asked for.
pub const LEAST: usize = 10_000;
/// Significant digits of the standard uncertainty that are asked for.
const DIGITS: u32 = 2;
/// Batches that the scatter of an average is taken from at least.
const FEWEST_BATCHES: usize = 5;

/// What is asked of the trials.
#[derive(Clone, Copy, Debug)]
pub struct Plan {
    /// Probability of the intervals.
    pub level: f64,
    /// Whether their bounds have to be stable as well; else mean and standard uncertainty alone.
    pub bounds: bool,
    /// Trials before it may end.
    pub least: usize,
    /// Trials at most.
    pub most: usize,
}

/// Trials drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct Trials {
    /// The outcomes of each quantity; NaN for one that a trial does not have.
    pub columns: Vec<Vec<f64>>,
    /// Their number.
    pub draws: usize,
    /// Significant digits of the standard uncertainty to which every quantity is stable: 2, 1, or 0 where not even one is.
    pub stable_digits: u32,
}

/// Draws until every quantity is stable, or up to the plan's bound. `more`: the outcomes of the trials of a range, one column a quantity,
/// as many columns each time.
///
/// # Errors
/// Those of `more`.
pub fn until_stable<E>(
    plan: Plan,
    mut more: impl FnMut(Range<usize>) -> Result<Vec<Vec<f64>>, E>,
) -> Result<Trials, E> {
    let batch = ((100.0 / (1.0 - plan.level)).ceil() as usize).min(plan.most / FEWEST_BATCHES);
    let batch = batch.max(1);
    let mut quantities: Vec<Quantity> = Vec::new();
    let mut draws = 0;
    let all_stable =
        |quantities: &[Quantity], digits| quantities.iter().all(|q| q.is_stable(digits));
    while draws < plan.most {
        let next = (draws + batch).min(plan.most);
        let columns = more(draws..next)?;
        quantities.resize_with(columns.len(), Quantity::default);
        for (quantity, column) in quantities.iter_mut().zip(columns) {
            quantity.take(column, batch, plan);
        }
        draws = next;
        if draws >= plan.least && all_stable(&quantities, DIGITS) {
            break;
        }
    }
    let stable_digits = (1..=DIGITS).rev();
    let stable_digits = stable_digits
        .filter(|digits| all_stable(&quantities, *digits))
        .max();
    Ok(Trials {
        columns: quantities.into_iter().map(|q| q.outcomes).collect(),
        draws,
        stable_digits: stable_digits.unwrap_or(0),
    })
}

/// One quantity so far.
#[derive(Default)]
struct Quantity {
    outcomes: Vec<f64>,
    /// Mean, standard uncertainty and bounds of each batch; NaN for what a batch does not have.
    batches: Vec<[f64; 4]>,
}

impl Quantity {
    fn take(&mut self, column: Vec<f64>, batch: usize, plan: Plan) {
        // A last batch that the bound cuts short would scatter more.
        if column.len() == batch {
            let (mean, spread) = moments(&column).unwrap_or((f64::NAN, f64::NAN));
            let bounds = || {
                let found = Outcomes::new(column.iter().copied()).ok()?;
                found.percentile_interval(plan.level).ok()
            };
            let (lower, upper) = match plan.bounds {
                true => bounds().unwrap_or((f64::NAN, f64::NAN)),
                false => (mean, mean),
            };
            self.batches.push([mean, spread, lower, upper]);
        }
        self.outcomes.extend(column);
    }

    fn is_stable(&self, digits: u32) -> bool {
        // What no trial has, or all have alike, has no digits to lose.
        let Some((mean, spread)) = moments(&self.outcomes) else {
            return true;
        };
        if spread <= 1e-12 * mean.abs() {
            return true;
        }
        let tolerance = numerical_tolerance(spread, digits);
        (0..4).all(|k| 2.0 * spread_of_average(&self.batches, k) <= tolerance)
    }
}

/// Mean and standard deviation of what is finite; `None` of fewer than two.
fn moments(values: &[f64]) -> Option<(f64, f64)> {
    let finite = || values.iter().filter(|x| x.is_finite());
    let count = finite().count() as f64;
    if count < 2.0 {
        return None;
    }
    let mean = finite().sum::<f64>() / count;
    let squares: f64 = finite().map(|x| (x - mean).powi(2)).sum();
    Some((mean, (squares / (count - 1.0)).sqrt()))
}

/// δ of a standard uncertainty with so many significant digits (JCGM 101:2008, 7.9.2).
fn numerical_tolerance(uncertainty: f64, digits: u32) -> f64 {
    let power = |u: f64| u.log10().floor() as i32 + 1 - digits as i32;
    let last = 10f64.powi(power(uncertainty));
    let rounded = (uncertainty / last).round() * last;
    // 9.96 has the two digits of 10.
    0.5 * 10f64.powi(power(rounded * (1.0 + 1e-12)))
}

/// Standard deviation of the average of one figure of the batches (JCGM 101:2008, 7.9.4 e); infinite of fewer than two.
fn spread_of_average(batches: &[[f64; 4]], figure: usize) -> f64 {
    let count = batches.len() as f64;
    if count < 2.0 {
        return f64::INFINITY;
    }
    let each = || batches.iter().map(|batch| batch[figure]);
    let mean = each().sum::<f64>() / count;
    let squares: f64 = each().map(|x| (x - mean).powi(2)).sum();
    (squares / (count * (count - 1.0))).sqrt()
}

#[cfg(test)]
mod tests {
    use super::*;
    use approx::assert_relative_eq;
    use rand::SeedableRng;
    use rand::rngs::StdRng;
    use rand_distr::{Distribution, StandardNormal};
    use std::convert::Infallible;

    fn normal(spread: f64, most: usize, bounds: bool) -> Trials {
        let mut random = StdRng::seed_from_u64(5);
        let mut one =
            || 100.0 + spread * <_ as Distribution<f64>>::sample(&StandardNormal, &mut random);
        let plan = Plan {
            level: 0.95,
            bounds,
            least: LEAST,
            most,
        };
        let Ok(trials) = until_stable::<Infallible>(plan, |places| {
            Ok(vec![places.map(|_| one()).collect(), vec![f64::NAN; 3]])
        });
        trials
    }

    #[test]
    fn val_numerical_tolerances_of_the_standard() {
        // JCGM 101:2008, 7.9.2, examples 1 (0.000 35 g), 2 (0.000 4 g) and 3 (2 K).
        for (uncertainty, digits, tolerance) in [
            (0.000_35, 2, 0.000_005),
            (0.000_35, 1, 0.000_05),
            (2.0, 1, 0.5),
            (9.96, 2, 0.5),
            (9.94, 2, 0.05),
        ] {
            assert_relative_eq!(
                numerical_tolerance(uncertainty, digits),
                tolerance,
                max_relative = 1e-9
            );
        }
    }

    #[test]
    fn val_the_number_of_trials_follows_from_the_scatter_of_a_normal_bound() {
        // A bound of a normal scatters by √(p(1 − p)/N)/φ(z) = 2.67 u/√N at 95 % (H. A. David, Order Statistics, from memory): twice that is
        // within δ = u/24 of u = 1.2 from 16 400 trials on; within u/180 of u = 9.0 only from 920 000 on.
        let coarse = normal(1.2, 100_000, true);
        assert!(
            (10_000..=60_000).contains(&coarse.draws),
            "{}",
            coarse.draws
        );
        assert_eq!(coarse.stable_digits, 2);
        let fine = normal(9.0, 40_000, true);
        assert_eq!((fine.draws, fine.stable_digits), (40_000, 1));
        // Of the mean alone, 2 u/√N, a hundredth of u = 5.0 takes 40 000.
        let mean = normal(5.0, 400_000, false);
        assert!((15_000..=80_000).contains(&mean.draws), "{}", mean.draws);
    }

    #[test]
    fn the_same_trials_come_out_twice_and_few_are_said_to_be_few() {
        assert_eq!(
            normal(1.0, 20_000, true).columns[0],
            normal(1.0, 20_000, true).columns[0]
        );
        let few = normal(9.0, 200, true);
        assert_eq!(few.draws, 200);
        assert!(few.stable_digits < 2);
    }
}
