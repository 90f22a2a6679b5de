//! Other covariances of the same estimate, to be compared by measured coverage (`tests/coverage.rs`, `docs/coverage.md`).
//!
//! The estimate is that of the weights of `rows`; what differs is how far the residuals of the captures are believed to scatter it.
//! With weighted scores `s = w g r` of the rows, gradient g, weight w, residual r, and the normal matrix N the part of the noise is
//! `N⁻¹ M N⁻¹`; M is the sum of the scores' products ([`crate::stats::hac`]) or their scatter over resampled blocks
//! ([`crate::stats::bootstrap`]). Priors, readings and terms at their bound add what they add to the covariance that is reported.

use super::covariance::inverse_over;
use crate::bench::Bench;
use crate::fit::data::{deviations, groups};
use crate::fit::estimate::Estimate;
use crate::fit::model::{LANES, Row};
use crate::fit::unknowns::Source;
use crate::fit::weights::noise_of_rows;
use crate::stats::StatsError;
use crate::stats::bootstrap::{block_length_ar1, moving_block_indices};
use crate::stats::hac::{Lag, Scores, middle_matrix, prewhitened_middle_matrix};
use nalgebra::{DMatrix, DVector};
use rand::SeedableRng;
use rand::rngs::StdRng;

/// How the scatter of the scores is found.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Middle {
    /// Rows independent, each as noisy as its own residual (White 1980).
    Independent,
    /// Newey & West 1987 with the lag of Andrews 1991.
    Autocorrelated,
    /// The same, whitened first (Andrews & Monahan 1992).
    Prewhitened,
    /// Linearised bootstrap by moving blocks (Künsch 1989).
    Blocks,
}

impl Middle {
    pub const ALL: [Middle; 4] = [
        Middle::Independent,
        Middle::Autocorrelated,
        Middle::Prewhitened,
        Middle::Blocks,
    ];

    /// For tables.
    pub fn words(self) -> &'static str {
        match self {
            Middle::Independent => "rows independent, as noisy as their residuals",
            Middle::Autocorrelated => "autocorrelation by Bartlett weights",
            Middle::Prewhitened => "the same, whitened first",
            Middle::Blocks => "bootstrap of blocks",
        }
    }
}

/// Resamples of the bootstrap.
const RESAMPLES: usize = 200;

impl Estimate {
    /// Covariance of the fitted vector with the noise's part from the scores themselves.
    ///
    /// # Errors
    /// When a score is not finite.
    pub fn sandwich(&self, middle: Middle) -> Result<DMatrix<f64>, StatsError> {
        let n = self.problem.layout.len();
        let (values, lengths) = self.scores();
        let starts: Vec<usize> = lengths
            .iter()
            .scan(0, |end, length| {
                *end += length;
                Some(*end - length)
            })
            .collect();
        let scores = Scores {
            values: &values,
            parameters: n,
            group_starts: &starts,
        };
        let matrix = match middle {
            Middle::Independent => middle_matrix(scores, Lag::Zero)?.matrix,
            Middle::Autocorrelated => middle_matrix(scores, Lag::AndrewsAr1)?.matrix,
            Middle::Prewhitened => prewhitened_middle_matrix(scores, Lag::AndrewsAr1)?.matrix,
            Middle::Blocks => blocks(&values, n, &lengths)?,
        };
        let others = self
            .covariance
            .parts
            .iter()
            .filter(|(source, _)| *source != Source::Noise)
            .fold(DMatrix::zeros(n, n), |sum, (_, part)| sum + part);
        let bread = self.covariance.conditional();
        Ok(others + bread * matrix * bread)
    }

    /// Covariance that the captures' noise, priors and readings leave at best (the Cramér-Rao bound of a model that is exact, with
    /// Gaussian priors): rows as noisy as their scatter about their own local line, nothing for what the model does not know.
    pub fn noise_bound(&self, bench: &Bench) -> DMatrix<f64> {
        let problem = &self.problem;
        let (scatters, _) = noise_of_rows(problem, bench, &self.solution.x, &self.predictions);
        let mut normal = self.solution.equations.normal.clone();
        for (k, prediction) in self.predictions.iter().enumerate() {
            let noise = deviations(&prediction.rows, &scatters[k], [0.0; 2]);
            normal -= problem.capture_equations(k, prediction).normal;
            normal += problem.equations_under(prediction, &noise).normal;
        }
        let free: Vec<usize> = (0..normal.nrows())
            .filter(|&k| self.covariance.free[k])
            .collect();
        inverse_over(&normal, &free, 1e-14).0
    }

    /// Weighted scores of every row, row by row, and the length of each group: rows of one channel in one leg.
    fn scores(&self) -> (Vec<f64>, Vec<usize>) {
        let n = self.problem.layout.len();
        let (mut values, mut lengths) = (Vec::new(), Vec::new());
        for (prediction, deviations) in self.predictions.iter().zip(&self.problem.deviations) {
            for group in groups(&prediction.rows) {
                lengths.push(group.len());
                for k in group {
                    let at = values.len();
                    values.resize(at + n, 0.0);
                    let factor = weighted_residual(&prediction.rows[k], deviations[k]);
                    for lane in 0..LANES {
                        let slope = prediction.rows[k].predicted.gradient[lane];
                        for &(entry, link) in &prediction.slopes[lane] {
                            values[at + entry] += factor * slope * link;
                        }
                    }
                }
            }
        }
        (values, lengths)
    }
}

fn weighted_residual(row: &Row, deviation: f64) -> f64 {
    (row.predicted.value - row.recorded) / (deviation * deviation)
}

/// Scatter of the sum of the scores over resamples in blocks, each group about its own mean.
fn blocks(values: &[f64], n: usize, lengths: &[usize]) -> Result<DMatrix<f64>, StatsError> {
    let mut centred = values.to_vec();
    let (mut products, mut squares) = (0.0, 0.0);
    let mut at = 0;
    for &length in lengths {
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
        for row in moving_block_indices(lengths, block, &mut random)? {
            for column in 0..n {
                sum[column] += centred[row * n + column];
            }
        }
        out.ger(1.0 / RESAMPLES as f64, &sum, &sum, 1.0);
    }
    Ok(out)
}
