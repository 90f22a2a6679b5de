//! Other covariances of one estimate, to be compared by measured coverage.
//!
//! With weighted scores `s = w g r` of the rows (gradient g, weight w, residual r) and the inverse N⁻¹ of the normal matrix the
//! noise's part of the covariance is `N⁻¹ M N⁻¹`. M is the sum of the scores' products ([`super::hac`]) or their scatter over
//! resampled blocks ([`super::bootstrap`]).

use super::Invalid;
use super::bootstrap::{block_length_ar1, moving_block_indices};
use super::hac::{Lag, Scores, meat, prewhitened_meat};
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// How the scatter of the scores is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum ScoreCovariance {
    /// Rows independent, each as noisy as its own residual (White 1980).
    Independent,
    /// Newey & West 1987 with the lag of Andrews 1991.
    Autocorrelated,
    /// The same, whitened first (Andrews & Monahan 1992).
    Prewhitened,
    /// Linearised bootstrap by moving blocks (Künsch 1989).
    Blocks,
}

/// Resamples of the bootstrap.
const RESAMPLES: usize = 200;

impl ScoreCovariance {
    pub const ALL: [ScoreCovariance; 4] = [
        ScoreCovariance::Independent,
        ScoreCovariance::Autocorrelated,
        ScoreCovariance::Prewhitened,
        ScoreCovariance::Blocks,
    ];

    /// For tables.
    pub fn words(self) -> &'static str {
        match self {
            ScoreCovariance::Independent => "rows independent, as noisy as their residuals",
            ScoreCovariance::Autocorrelated => "autocorrelation by Bartlett weights",
            ScoreCovariance::Prewhitened => "the same, whitened first",
            ScoreCovariance::Blocks => "bootstrap of blocks",
        }
    }

    /// The sandwich `N⁻¹ M N⁻¹` with M from `scores` and N⁻¹ = `bread`.
    ///
    /// # Errors
    /// When the scores have no rows of the width of `bread`, or one is not finite.
    pub fn sandwich(
        self,
        scores: Scores<'_>,
        bread: &DMatrix<f64>,
    ) -> Result<DMatrix<f64>, Invalid> {
        let filling = match self {
            ScoreCovariance::Independent => meat(scores, Lag::Zero)?.matrix,
            ScoreCovariance::Autocorrelated => meat(scores, Lag::AndrewsAr1)?.matrix,
            ScoreCovariance::Prewhitened => prewhitened_meat(scores, Lag::AndrewsAr1)?.matrix,
            ScoreCovariance::Blocks => blocks(scores)?,
        };
        Ok(bread * filling * bread)
    }
}

/// Scatter of the sum of the scores over resamples in blocks, each group about its own mean.
fn blocks(scores: Scores<'_>) -> Result<DMatrix<f64>, Invalid> {
    let n = scores.parameters;
    let lengths: Vec<usize> = scores.groups()?.iter().map(|g| g.len() / n).collect();
    let mut centred = scores.values.to_vec();
    let (mut products, mut squares) = (0.0, 0.0);
    let mut at = 0;
    for &length in &lengths {
        let group = &mut centred[at * n..(at + length) * n];
        for column in 0..n {
            let of = |row: usize| row * n + column;
            let mean = (0..length).map(|r| group[of(r)]).sum::<f64>() / length as f64;
            (0..length).for_each(|r| group[of(r)] -= mean);
            let variance: f64 = (0..length).map(|r| group[of(r)].powi(2)).sum();
            if variance > 0.0 {
                let lagged: f64 = (1..length).map(|r| group[of(r)] * group[of(r - 1)]).sum();
                products += lagged / variance * length as f64;
                squares += length as f64;
            }
        }
        at += length;
    }
    let correlation = (products / f64::max(squares, 1.0)).clamp(-0.97, 0.97);
    let longest = lengths.iter().copied().max().unwrap_or(1);
    let block = block_length_ar1(longest, correlation)?;
    let mut random = StdRng::seed_from_u64(1);
    let mut out = DMatrix::zeros(n, n);
    for _ in 0..RESAMPLES {
        let mut sum = DVector::<f64>::zeros(n);
        for row in moving_block_indices(&lengths, block, &mut random)? {
            for column in 0..n {
                sum[column] += centred[row * n + column];
            }
        }
        out.ger(1.0 / RESAMPLES as f64, &sum, &sum, 1.0);
    }
    Ok(out)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Independent scores of unit variance: every way gives the number of rows, the bread left out.
    #[test]
    fn all_ways_agree_where_rows_are_independent() {
        use rand_distr::{Distribution, StandardNormal};
        let mut random = StdRng::seed_from_u64(3);
        let values: Vec<f64> = (0..4000)
            .map(|_| StandardNormal.sample(&mut random))
            .collect();
        let scores = Scores {
            values: &values,
            parameters: 2,
            group_starts: &[0, 700],
        };
        for way in ScoreCovariance::ALL {
            let found = way.sandwich(scores, &DMatrix::identity(2, 2)).unwrap();
            for k in 0..2 {
                let ratio = found[(k, k)] / 2000.0;
                assert!((ratio - 1.0).abs() < 0.25, "{way:?}: {ratio}");
            }
            assert!(found[(0, 1)].abs() < 0.25 * 2000.0, "{way:?}: {found}");
        }
    }
}
